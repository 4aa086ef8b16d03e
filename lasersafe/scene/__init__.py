"""Where light can get to on a floor with heights: directions, sources, screens, outlines of zones, the hazard map.

Plain numpy on SI floats, and shapely for areas. A bearing is clockwise from the y axis of the plan, an elevation
upwards from the horizontal, z the height above the floor.
"""
