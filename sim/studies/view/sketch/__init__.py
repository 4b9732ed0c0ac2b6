"""Make or change a room on a page: a form beside the drawing, corners to drag, a picture of a plan beneath."""
