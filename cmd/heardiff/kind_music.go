package main

import "heardiff/measure"

var musicKind = kind{name: "music", about: "a piece of music, to be listened to", piece: true,
	holds: holdsOnly(measure.Mixed)}
