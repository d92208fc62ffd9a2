"""What is due and how fresh the evidence is: pure rules over what the record holds."""
