"""Drivers: current sensors, gate actuators, motor switches, inputs and signs."""
