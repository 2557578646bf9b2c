package study

import "heardiff/measure"

// Music is a piece of music, to be listened to.
var Music = Kind{Name: "music", About: "a piece of music, to be listened to", Piece: true,
	Holds: holdsOnly(measure.Mixed)}
