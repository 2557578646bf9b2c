package main

import (
	"fmt"
	"io"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// release is the version of the program: the newest of CHANGELOG.md, which a test holds it to.
const release = "0.2.0"

// programVersion says which program this is. What the build did not note is "".
type programVersion struct {
	Schema  string `json:"schema"`
	Version string `json:"version"`
	// Commit is the source's, Modified whether it had been changed since; Date is the commit's, RFC 3339.
	Commit   string          `json:"commit"`
	Modified bool            `json:"modified"`
	Date     string          `json:"date"`
	Go       string          `json:"go"`
	System   string          `json:"system"`
	Modules  []moduleVersion `json:"modules"`
}

type moduleVersion struct {
	Path    string `json:"path"`
	Version string `json:"version"`
}

// thisProgram reads what the build noted.
func thisProgram() programVersion {
	v := programVersion{Schema: "heardiff.version/1", Version: release, Go: runtime.Version(), System: runtime.GOOS + "/" + runtime.GOARCH, Modules: []moduleVersion{}}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return v
	}
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			v.Commit = s.Value
		case "vcs.time":
			v.Date = s.Value
		case "vcs.modified":
			v.Modified = s.Value == "true"
		}
	}
	for _, m := range info.Deps {
		v.Modules = append(v.Modules, moduleVersion{m.Path, m.Version})
	}
	return v
}

// String is the version in one line, as it is printed and kept: "0.2.0 (1a2b3c4d5e6f, changed)".
func (v programVersion) String() string {
	switch {
	case v.Commit == "":
		return v.Version
	case v.Modified:
		return fmt.Sprintf("%s (%.12s, changed)", v.Version, v.Commit)
	}
	return fmt.Sprintf("%s (%.12s)", v.Version, v.Commit)
}

func (a *app) versionCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "print which version of the program this is, and what it was built from",
		Args:  exactArgs(),
		RunE: func(*cobra.Command, []string) error {
			v := thisProgram()
			return a.print(v, v.text)
		},
	}
}

func (v programVersion) text(w io.Writer) {
	fmt.Fprintf(w, "heardiff %s\n%s, %s", v, v.Go, v.System)
	if v.Date != "" {
		fmt.Fprintf(w, ", source of %s", v.Date)
	}
	fmt.Fprint(w, "\n\n")
	t := newTable("module", "version")
	for _, m := range v.Modules {
		t.row(m.Path, m.Version)
	}
	t.print(w, "")
}
