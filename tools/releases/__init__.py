"""What tools/wild and its laws share: running the program, and copies of releases that say the same in another way."""
