"""The bench timer as the companion sees it: ports, link client, virtual board and virtual kitchen."""
