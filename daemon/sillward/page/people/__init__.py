"""Who may come in: people, their passphrases, and their sessions."""
