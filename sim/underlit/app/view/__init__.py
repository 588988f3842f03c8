"""The one component of our own: the tank in 3D with its light, drawn by the browser."""

from underlit.app.view.tank_view import TankView

__all__ = ["TankView"]
