"""Where panels go and what they buy."""
