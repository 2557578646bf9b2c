package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/measure/tone"
	"heardiff/stats/warning"
	"heardiff/stats/wire"
	"heardiff/trials/study"
)

// A kind is declared in its own file: nowhere else in the command, or in the rooms that it prints the results of, is the name of
// one compared, a case of a switch, or a key next to another in a table.
func TestNothingSwitchesOnAKind(t *testing.T) {
	names := map[string]bool{}
	for _, k := range kinds() {
		names[k.Name] = true
	}
	files := 0
	eachProgramSource(t, []string{"cmd/heardiff", "trials"}, func(s source) {
		if strings.HasPrefix(filepath.Base(s.path), "kind_") {
			return
		}
		files++
		for _, at := range switchesOn(s.File, names) {
			t.Errorf("%s: asks which kind it is: let the kind declare it", s.at(at))
		}
	})
	if files < 50 {
		t.Errorf("only %d files were read", files)
	}
}

// The walk finds what it is meant to find.
func TestASwitchOnAKindIsSeen(t *testing.T) {
	const source = `package p
func f(k string) bool {
	switch k { case "tone": return true }
	_ = map[string]int{"tone": 1, "noise": 2}
	_ = map[string]int{"noise": 2, "distortion": 3}
	return "noise" != k
}`
	parsed, err := parser.ParseFile(token.NewFileSet(), "p.go", source, 0)
	must(t, err)
	if got := switchesOn(parsed, map[string]bool{"tone": true, "noise": true}); len(got) != 3 {
		t.Errorf("%d seen, want a case, a table and a comparison", len(got))
	}
}

// switchesOn returns where one of the names is compared or a case, and where two are keys of one table.
func switchesOn(file *ast.File, names map[string]bool) []token.Pos {
	named := func(e ast.Expr) bool {
		text, ok := constantText(e)
		return ok && names[text]
	}
	var found []token.Pos
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.BinaryExpr:
			if (n.Op == token.EQL || n.Op == token.NEQ) && (named(n.X) || named(n.Y)) {
				found = append(found, n.Pos())
			}
		case *ast.CaseClause:
			for _, e := range n.List {
				if named(e) {
					found = append(found, e.Pos())
				}
			}
		case *ast.CompositeLit:
			keys := 0
			for _, e := range n.Elts {
				if pair, ok := e.(*ast.KeyValueExpr); ok && named(pair.Key) {
					keys++
				}
			}
			if keys > 1 {
				found = append(found, n.Pos())
			}
		}
		return true
	})
	return found
}

// Every list that names kinds is drawn from the declarations.
func TestHelpAndCompletionNameEveryKind(t *testing.T) {
	help, _ := command(t, 0, "measure", "--help")
	offered, _ := command(t, 0, "__complete", "measure", "x.wav", "--as", "")
	for _, k := range study.MeasuredKinds() {
		if !strings.Contains(help, "  "+k.Name) || !strings.Contains(offered, k.Name+"\t"+k.About) {
			t.Errorf("%s is not in help, or is not offered:\n%s\n%s", k.Name, help, offered)
		}
	}
	offered, _ = command(t, 0, "__complete", "capture", "add", "box", "x.wav", "--as", "")
	for _, k := range study.CaptureKinds() {
		if !strings.Contains(offered, k.Name+"\t") {
			t.Errorf("%s is not offered: %s", k.Name, offered)
		}
	}
}

func TestWarningsOfAStoredResultAreReadCompletely(t *testing.T) {
	r := tone.Result{}
	r.Warn(warning.Newf(tone.Muted, "muted").In(2).During(0.5, 0.75).Of(3, "times"))
	data, err := wire.Marshal(r)
	must(t, err)
	back, err := study.Stored[tone.Result](data)
	must(t, err)
	if len(back.Texts) != 1 || len(back.Details) != 1 || back.Details[0] != r.Details[0] {
		t.Errorf("%s is read as %+v", data, back.Warnings)
	}
}

// Every kind that a study measures can be shown.
func TestEveryMeasuredKindIsShown(t *testing.T) {
	for _, k := range kinds() {
		if k.shown == nil {
			t.Errorf("%s is measured, and nothing shows it", k.Name)
		}
	}
}
