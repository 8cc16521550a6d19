"""Laws: diode, optocoupler, resistor, mains, surge, ageing, phase control, motor."""
