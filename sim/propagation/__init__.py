"""Sound paths from driver to ear: direct and mirrored, each with its margin."""
