"""From a batch file to sheets, masses and process steps: what the cook wants, worked out."""
