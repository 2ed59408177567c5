"""How units sit on segments and where joints lie: lever arms, hinge axes, mountings, lateness."""
