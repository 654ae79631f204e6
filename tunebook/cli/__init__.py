"""The command line: options, commands, what is printed. No music."""
