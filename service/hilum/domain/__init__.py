"""What Hilum keeps track of: frozen records, the ports that hold them, and the error tree."""
