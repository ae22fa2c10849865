"""What a run leaves behind: the words of its codes, its tables, the facts of its room."""
