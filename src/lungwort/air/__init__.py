"""Physics of the air: quantities, gas conversions, moisture and air as a real gas."""
