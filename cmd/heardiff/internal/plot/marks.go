package plot

// dashOf distinguishes series without colour: the first is solid, the others each have their own rhythm.
func dashOf(i int) []float64 {
	return [][]float64{nil, {7, 3}, {2, 3}, {9, 3, 2, 3}, {4, 2, 1, 2, 1, 2}, {12, 4}}[i%6]
}

// mark draws the i-th series' shape: disc, square, diamond, triangle, triangle down, bar.
func mark(c Canvas, at Point, i int, radius float64, ink Ink, hollow bool) {
	shape(c, at, i, radius, ink)
	if hollow {
		shape(c, at, i, radius-1.6, Paper)
	}
}

func shape(c Canvas, at Point, i int, r float64, ink Ink) {
	if i%6 == 0 {
		c.Disc(at, r, ink)
		return
	}
	outlines := [][]Point{
		{{-0.9, -0.9}, {0.9, -0.9}, {0.9, 0.9}, {-0.9, 0.9}},
		{{0, -1.25}, {1.25, 0}, {0, 1.25}, {-1.25, 0}},
		{{0, -1.2}, {1.15, 0.9}, {-1.15, 0.9}},
		{{0, 1.2}, {1.15, -0.9}, {-1.15, -0.9}},
		{{-0.55, -1.2}, {0.55, -1.2}, {0.55, 1.2}, {-0.55, 1.2}},
	}
	outline := outlines[i%6-1]
	points := make([]Point, len(outline))
	for k, p := range outline {
		points[k] = Point{at.X + p.X*r, at.Y + p.Y*r}
	}
	c.Area(points, ink, 1)
}

// lineKey is the sample of a curve.
func lineKey(name string, i int) keyEntry {
	return keyEntry{name, func(c Canvas, b rect) {
		y := b.middle().Y
		c.Line([]Point{{b.left, y}, {b.right, y}}, Pen{Ink: seriesInk(i), Width: 2, Dash: dashOf(i)})
	}}
}

// areaKey is the sample of a shaded region.
func areaKey(name string, ink Ink, opacity float64) keyEntry {
	return keyEntry{name, func(c Canvas, b rect) {
		c.Area(rect{b.left + 3, b.top, b.right - 3, b.bottom}.corners(), ink, opacity)
	}}
}

// stemKey is the sample of a line spectrum: a stem with a head.
func stemKey(name string, i int, ink Ink, hollow bool) keyEntry {
	return keyEntry{name, func(c Canvas, b rect) {
		m := b.middle()
		c.Line([]Point{{m.X, b.bottom}, {m.X, b.top + 4}}, Pen{Ink: ink, Width: 1.4})
		mark(c, Point{m.X, b.top + 4}, i, 3.6, ink, hollow)
	}}
}

// ruleKey is the sample of a reference line.
func ruleKey(name string, ink Ink, dash []float64) keyEntry {
	return keyEntry{name, func(c Canvas, b rect) {
		y := b.middle().Y
		c.Line([]Point{{b.left, y}, {b.right, y}}, Pen{Ink: ink, Width: 1.4, Dash: dash})
	}}
}
