"""Floor 7: the command `fettle`: parse, call one service, print."""
