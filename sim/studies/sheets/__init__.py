"""Drawings to scale for the builder, tables of panels and parts, a 3D model."""
