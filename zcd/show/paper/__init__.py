"""Reports that leave the program: their sections, HTML, PDF, and the demo that writes one."""
