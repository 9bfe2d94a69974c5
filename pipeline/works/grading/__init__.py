"""Grade design: least mix moved and bought for a surface that falls as its owner wants."""
