"""The setup sheet: numbers, plan and PDF."""
