"""Sound waves round what stands near: boundary elements at the low frequencies, where single edges do not suffice."""
