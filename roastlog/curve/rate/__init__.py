"""Rate of rise, live and over a whole curve, from a Kalman filter and a tracker per sensor."""
