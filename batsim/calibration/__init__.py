"""From the records of a site to what the model needs: logs read, laws fitted, measured beside simulated."""
