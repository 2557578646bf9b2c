// Package guide holds the pages of "heardiff help TOPIC": how a study is done, in plain words. Each fact has its source on the page,
// or is marked there as common practice. A line that begins with two blanks and "heardiff" is a command; a test checks each against
// the program.
package guide

import (
	"embed"
	"strings"
)

//go:embed *.txt
var pages embed.FS

// names are the topics, in the order in which a study meets them.
var names = []string{"capture", "match", "plan", "run", "results", "pool", "thresholds", "share", "mistakes"}

// Names returns the topics, in the order in which a study meets them.
func Names() []string { return append([]string(nil), names...) }

// Page returns the page of a topic, which ends with a line break, and whether there is one.
func Page(topic string) (string, bool) {
	text, err := pages.ReadFile(topic + ".txt")
	return string(text), err == nil
}

// About returns the first line of a topic's page, without its beginning up to a colon; "" where there is no page.
func About(topic string) string {
	page, _ := Page(topic)
	first, _, _ := strings.Cut(page, "\n")
	_, about, _ := strings.Cut(first, ": ")
	return about
}
