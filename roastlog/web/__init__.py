"""Pages and API: thin routes over the services."""
