"""What is kept for how long, what is forgotten then, and everything that is kept about one person."""
