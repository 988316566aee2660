"""What a command says on a terminal."""
