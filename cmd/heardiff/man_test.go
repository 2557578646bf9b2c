package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"heardiff/cmd/heardiff/internal/guide"
	"heardiff/trials/store/storetest"
)

// Every command and every topic has a manual page that holds all its flags and lines, in the language of man(7): ASCII, and no line that
// is a request by chance.
func TestEveryCommandHasItsManualPage(t *testing.T) {
	dir := t.TempDir()
	command(t, 0, "man", "--dir", dir)
	request := regexp.MustCompile(`^\.(\\" |TH |SH |PP$|TP$|nf$|fi$)`)
	var check func(c *cobra.Command)
	check = func(c *cobra.Command) {
		page := contentOf(t, filepath.Join(dir, "man1", strings.ReplaceAll(c.CommandPath(), " ", "-")+".1"))
		c.LocalFlags().VisitAll(func(f *pflag.Flag) {
			if !strings.Contains(page, strings.ReplaceAll("--"+f.Name, "-", `\-`)) {
				t.Errorf("%s: the page has no --%s", c.CommandPath(), f.Name)
			}
		})
		for i, line := range strings.Split(page, "\n") {
			if strings.HasPrefix(line, ".") && !request.MatchString(line) || strings.HasPrefix(line, "'") {
				t.Errorf("%s: line %d is a request by chance: %q", c.CommandPath(), i+1, line)
			}
			if strings.ContainsFunc(line, func(r rune) bool { return r > 126 }) {
				t.Errorf("%s: line %d is not ASCII: %q", c.CommandPath(), i+1, line)
			}
		}
		for _, sub := range c.Commands() {
			check(sub)
		}
	}
	check((&app{}).rootCommand())
	for _, topic := range guide.Names() {
		if page := contentOf(t, filepath.Join(dir, "man7", "heardiff-"+topic+".7")); strings.Count(page, "\n") < 20 {
			t.Errorf("%s: %q", topic, page)
		}
	}
	command(t, 0, "man", "--dir", dir, "--force")
	refused(t, exitUsage, "man")
}

// A section that is a link to another file system cannot be filled in one step: the message names the page, and nothing is left.
func TestASectionOnAnotherDiskIsNamed(t *testing.T) {
	disk, _ := storetest.Disk(t, 1<<20)
	dir := t.TempDir()
	must(t, os.Symlink(disk, filepath.Join(dir, "man1")))
	before := listing(t, dir)
	if said := refused(t, exitFailed, "man", "--dir", dir); !strings.Contains(said, "man1/heardiff.1: ") || strings.Contains(said, "/.") {
		t.Errorf("said %q", said)
	}
	if now := listing(t, dir); now != before {
		t.Errorf("left:\n%s", now)
	}
	if left, err := os.ReadDir(disk); err != nil || len(left) > 0 {
		t.Errorf("left on the disk: %v, error %v", left, err)
	}
}
