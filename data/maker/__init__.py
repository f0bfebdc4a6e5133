"""Parts of the script that writes the invented demo waters."""
