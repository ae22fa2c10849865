"""From numbers to a plan: checks, equipment list, ventilation, supply, money, cautions, open questions."""
