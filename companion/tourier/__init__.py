"""Desk companion of the Tourier bench timer."""
