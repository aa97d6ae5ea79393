"""Pictures of the README and of the installed app."""
