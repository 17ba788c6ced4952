"""Channels: how a message is sent, and what came back."""
