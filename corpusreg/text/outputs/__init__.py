"""What is printed or written: text for a terminal, JSON."""
