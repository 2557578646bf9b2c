package main

var musicKind = kind{name: "music", about: "a piece of music, to be listened to", piece: true}
