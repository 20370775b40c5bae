"""The shop's page: what a browser on this machine, or a paired one, sees and asks for."""
