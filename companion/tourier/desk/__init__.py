"""The desk application (Textual): plan, send, watch, look back. Nothing outside this folder imports Textual."""
