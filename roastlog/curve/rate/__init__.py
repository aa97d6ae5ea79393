"""Rate of rise: live and over a whole curve, on a Kalman filter and a tracker of each sensor."""
