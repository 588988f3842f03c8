"""The tank: its panes, rim, braces and water, its shape, its lid or hood, and the other tanks of a rack."""
