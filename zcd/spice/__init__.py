"""The circuit as a netlist; ngspice as another solver; both answers compared."""
