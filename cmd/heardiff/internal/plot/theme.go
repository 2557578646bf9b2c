package plot

import (
	"fmt"
	"image/color"
	"strings"
)

// Theme gives every ink its colour.
type Theme [inks]color.RGBA

// Light and Dark are the two looks. The series inks keep a contrast of 3 to 1 or more against the paper (WCAG 2.1,
// success criterion 1.4.11) and the text inks 4.5 to 1 (1.4.3); neighbours differ to readers with two cones (see the test).
var (
	Light = Theme{
		Paper: rgb(0xfdfdfb), Text: rgb(0x1d2329), Muted: rgb(0x59636e), Grid: rgb(0xe3e5e3), Axis: rgb(0x8b949c),
		FloorInk: rgb(0x8d959b), Accent: rgb(0xa3123a),
		Series1: rgb(0x14509e), Series2: rgb(0xc75d00), Series3: rgb(0x0b8f86), Series4: rgb(0x7a2a8c),
		Series5: rgb(0x8a8100), Series6: rgb(0x3d4653),
	}
	Dark = Theme{
		Paper: rgb(0x15191d), Text: rgb(0xecefed), Muted: rgb(0xa7b1b8), Grid: rgb(0x2b3238), Axis: rgb(0x76828b),
		FloorInk: rgb(0x77828a), Accent: rgb(0xff7d92),
		Series1: rgb(0x6fa8ff), Series2: rgb(0xff9d3c), Series3: rgb(0x3fd6c6), Series4: rgb(0xd08be6),
		Series5: rgb(0xd9cf4a), Series6: rgb(0xc3ccd4),
	}
)

var inkNames = [inks]string{
	Paper: "paper", Text: "text", Muted: "muted", Grid: "grid", Axis: "axis", FloorInk: "floor", Accent: "accent",
	Series1: "s1", Series2: "s2", Series3: "s3", Series4: "s4", Series5: "s5", Series6: "s6",
}

func rgb(v uint32) color.RGBA {
	return color.RGBA{R: uint8(v >> 16), G: uint8(v >> 8), B: uint8(v), A: 255}
}

func hex(c color.RGBA) string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

// Hex returns the colour of an ink as #rrggbb.
func (t Theme) Hex(i Ink) string { return hex(t[i]) }

// Style is the style sheet that turns charts dark on a dark screen and light again on paper. A page that holds
// charts from Inline needs it once; SVG brings its own.
func Style() string {
	var dark, light strings.Builder
	for i := range inks {
		fmt.Fprintf(&dark, ".hd-f-%s{fill:%s}.hd-l-%[1]s{stroke:%[2]s}", inkNames[i], Dark.Hex(i))
		fmt.Fprintf(&light, ".hd-f-%s{fill:%s}.hd-l-%[1]s{stroke:%[2]s}", inkNames[i], Light.Hex(i))
	}
	return "@media screen and (prefers-color-scheme:dark){" + dark.String() + "}@media print{" + light.String() + "}"
}
