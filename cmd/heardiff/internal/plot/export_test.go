package plot

// TextWidth is textWidth, for the test that texts do not collide.
func TextWidth(s string, size float64, bold bool) float64 { return textWidth(s, size, bold) / spare }
