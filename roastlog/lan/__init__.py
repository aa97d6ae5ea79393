"""HTTPS in the local network: host names and addresses, certificates, mDNS announcement."""
