"""Reports: a comparison as a page to read, print and hand out."""
