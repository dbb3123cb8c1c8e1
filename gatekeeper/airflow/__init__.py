"""The air in the ducts: density, friction, fittings, fan, and the flow in every duct for any set of gates. Pure."""
