package plot

import "math"

// Sizes in pixels of what every chart shares.
const (
	margin    = 14
	titleSize = 16
	textSize  = 12.5
	smallSize = 11.5
	lineStep  = 1.35 // line height over font size
)

// narrow is the width below which a chart stacks the parts that are side by side in a wider one.
const narrow = 560

// keyEntry is one entry of a legend.
type keyEntry struct {
	name string
	draw func(c Canvas, box rect) // the sample, in a box of keyWidth by smallSize
}

const keyWidth = 28

type rect struct{ left, top, right, bottom float64 }

func (r rect) width() float64  { return r.right - r.left }
func (r rect) height() float64 { return r.bottom - r.top }
func (r rect) middle() Point   { return Point{(r.left + r.right) / 2, (r.top + r.bottom) / 2} }
func (r rect) corners() []Point {
	return []Point{{r.left, r.top}, {r.right, r.top}, {r.right, r.bottom}, {r.left, r.bottom}}
}

func (r rect) meets(o rect) bool {
	return r.left < o.right && o.left < r.right && r.top < o.bottom && o.top < r.bottom
}

// sheet is everything around the axes: title, key, axis titles, notes.
type sheet struct {
	title string
	key   []keyEntry
	notes []string
	x, y  axis
	plot  float64 // height of the plot area in pixels
	left  float64 // room for the labels left of the plot area; 0: as the ticks need
	right float64 // room right of it; 0: a margin
}

// height returns the height of the chart at a width.
func (s sheet) height(width float64) float64 {
	top := s.top(width)
	bottom := 2*lineStep*smallSize + 8
	notes := float64(len(s.noteLines(width))) * lineStep * smallSize
	if notes > 0 {
		notes += 8
	}
	return math.Ceil(top + s.plot + bottom + notes + margin)
}

func (s sheet) top(width float64) float64 {
	y := float64(margin) + float64(len(s.titleLines(width)))*lineStep*titleSize
	y += float64(len(s.keyRows(width))) * lineStep * (smallSize + 3)
	if s.y.title != "" {
		y += lineStep*smallSize + 4
	}
	return y + 8
}

func (s sheet) titleLines(width float64) []string {
	return wrap(s.title, titleSize, true, width-2*margin)
}

func (s sheet) noteLines(width float64) []string {
	var lines []string
	for _, n := range s.notes {
		lines = append(lines, wrap(n, smallSize, false, width-2*margin)...)
	}
	return lines
}

// keyRows sets the key in as many rows as it takes.
func (s sheet) keyRows(width float64) [][]keyEntry {
	var rows [][]keyEntry
	x := math.Inf(1)
	for _, k := range s.key {
		need := s.keyRoom(k, width)
		if x+need > width-margin {
			rows = append(rows, nil)
			x = margin
		}
		rows[len(rows)-1] = append(rows[len(rows)-1], k)
		x += need
	}
	return rows
}

func (s sheet) keyRoom(k keyEntry, width float64) float64 {
	const gap = 18
	return math.Min(width-2*margin, keyWidth+6+textWidth(k.name, smallSize, false)+gap)
}

// draw sets everything but the data and returns the plot area and its labels.
func (s sheet) draw(c Canvas, width float64) (rect, *labels) {
	y := float64(margin)
	for _, line := range s.titleLines(width) {
		y += lineStep * titleSize
		c.Text(Point{margin, y - 5}, line, Type{Size: titleSize, Bold: true, Ink: Text})
	}
	s.drawKey(c, width, y)
	area := rect{left: s.leftRoom(), top: s.top(width), right: width - math.Max(margin, s.right)}
	area.bottom = area.top + s.plot
	if s.y.title != "" {
		c.Text(Point{margin, area.top - 9}, fit(s.y.title, smallSize, false, width-2*margin), Type{Size: smallSize, Ink: Muted})
	}
	s.drawX(c, area, width)
	s.drawY(c, area)
	y = area.bottom + 2*lineStep*smallSize + 16
	for _, line := range s.noteLines(width) {
		y += lineStep * smallSize
		c.Text(Point{margin, y - 4}, line, Type{Size: smallSize, Ink: Muted})
	}
	return area, &labels{c: c, area: area}
}

func (s sheet) drawKey(c Canvas, width, y float64) {
	for _, row := range s.keyRows(width) {
		x := float64(margin)
		y += lineStep * (smallSize + 3)
		for _, k := range row {
			k.draw(c, rect{x, y - smallSize - 1, x + keyWidth, y - 1})
			room := s.keyRoom(k, width)
			c.Text(Point{x + keyWidth + 6, y - 3}, fit(k.name, smallSize, false, room-keyWidth-6), Type{Size: smallSize, Ink: Text})
			x += room
		}
	}
}

func (s sheet) leftRoom() float64 {
	if s.left > 0 {
		return s.left
	}
	room := 0.0
	for _, t := range s.y.ticks(s.plot, 26) {
		room = math.Max(room, textWidth(t.label, smallSize, false))
	}
	return margin + room + 8
}

func (s sheet) drawX(c Canvas, area rect, width float64) {
	// The widest label and a little air keep neighbours apart.
	apart := textWidth("0000", smallSize, false) + 16
	for _, t := range s.x.ticks(area.width(), apart) {
		x := s.x.at(t.value, area.left, area.right)
		weight := 0.5
		if t.label != "" {
			weight = 1
			half := textWidth(t.label, smallSize, false) / 2
			at := math.Min(math.Max(x, half+2), width-half-2)
			c.Text(Point{at, area.bottom + 17}, t.label, Type{Size: smallSize, Ink: Muted, Anchor: Middle})
		}
		c.Line([]Point{{x, area.top}, {x, area.bottom}}, Pen{Ink: Grid, Width: weight})
	}
	c.Line([]Point{{area.left, area.bottom}, {area.right, area.bottom}}, Pen{Ink: Axis, Width: 1})
	c.Text(Point{area.middle().X, area.bottom + 17 + lineStep*smallSize}, fit(s.x.title, smallSize, false, area.width()+s.leftRoom()-margin),
		Type{Size: smallSize, Ink: Muted, Anchor: Middle})
}

func (s sheet) drawY(c Canvas, area rect) {
	if s.y.lo == s.y.hi {
		return
	}
	for _, t := range s.y.ticks(area.height(), 26) {
		y := s.y.at(t.value, area.bottom, area.top)
		weight := 0.5
		if t.label != "" {
			weight = 1
			c.Text(Point{area.left - 7, y + 4}, t.label, Type{Size: smallSize, Ink: Muted, Anchor: End})
		}
		c.Line([]Point{{area.left, y}, {area.right, y}}, Pen{Ink: Grid, Width: weight})
	}
}

// wrap breaks s between words into lines of at most width pixels; a word that is longer is shortened.
func wrap(s string, size float64, bold bool, width float64) []string {
	var lines []string
	line := ""
	for _, word := range fields(s) {
		joined := word
		if line != "" {
			joined = line + " " + word
		}
		if textWidth(joined, size, bold) <= width {
			line = joined
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		line = fit(word, size, bold, width)
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}
