package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"strings"
	"testing"
)

// Warnings are data: every result has them as warning.Warnings, and outside of tests nothing compares, searches, counts or parses their
// sentences, which are there to be printed.
func TestNothingReadsTheTextOfAWarning(t *testing.T) {
	files := 0
	eachProgramSource(t, codeRooms, func(s source) {
		if strings.HasSuffix(s.path, "stats/warning/warning.go") {
			return
		}
		files++
		for _, what := range slices.Concat(sentencesOf(s.File), textsRead(s.File)) {
			t.Errorf("%s: %s", s.path, what)
		}
	})
	if files < 300 {
		t.Errorf("only %d files were read", files)
	}
}

// The walk finds what it is meant to find.
func TestATextThatIsReadIsSeen(t *testing.T) {
	const source = `package p
import "heardiff/cmd/heardiff/internal/plot"
type result struct {
	Warnings []string
	Remarks  []string ` + "`json:\"warnings,omitempty\"`" + `
}
func f(r result, w warning) bool {
	for _, text := range r.Texts {
		if text == "a" { return true }
		seen[text] = true
		fmt.Println(text, plot.Text == ink, scan.Text() == "")
	}
	switch w.Text { case "b": }
	if strings.HasPrefix(w.Text, "c") || slices.Contains(r.Texts, "d") || len(r.Texts) > 0 || strings.Contains(strings.Join(r.Texts, " "), "e") { return false }
	return r.Texts[0] != w.Text
}`
	file, err := parser.ParseFile(token.NewFileSet(), "p.go", source, 0)
	must(t, err)
	if fields, reads := sentencesOf(file), textsRead(file); len(fields) != 2 || len(reads) != 9 {
		t.Errorf("%d fields: %q; %d reads: %q", len(fields), fields, len(reads), reads)
	}
}

// Fewer stretches than were asked for, and no device but those that are always there, are warned of by code.
func TestWhatTheCommandWarnsOfHasItsCode(t *testing.T) {
	shiftedStudy(t)
	var r suggested
	decode(t, &r, "prepare", "--suggest", "9", "--length", "1", "--json")
	if len(r.Details) != 1 || !r.Warned(fewerFound) || r.Details[0].Value != float64(len(r.Suggestions)) {
		t.Errorf("9 asked for: %d found, %+v", len(r.Suggestions), r.Details)
	}
	var l deviceList
	decode(t, &l, "devices", "--json")
	if none := len(l.Devices) == 2; (l.Warned(noSound) || l.Warned(noDevices)) != none {
		t.Errorf("%d devices, %q", len(l.Devices), l.Texts)
	}
}

// sentencesOf names the fields that hold warnings as sentences alone.
func sentencesOf(file *ast.File) (found []string) {
	ast.Inspect(file, func(n ast.Node) bool {
		f, ok := n.(*ast.Field)
		if !ok {
			return true
		}
		list, isList := f.Type.(*ast.ArrayType)
		if !isList || !isNamed(list.Elt, "string") {
			return true
		}
		named := slices.ContainsFunc(f.Names, func(name *ast.Ident) bool { return strings.EqualFold(name.Name, "warnings") })
		if named || f.Tag != nil && strings.Contains(f.Tag.Value, `json:"warnings`) {
			found = append(found, "a field holds warnings as sentences: embed warning.Warnings")
		}
		return true
	})
	return found
}

func isNamed(e ast.Expr, name string) bool {
	id, ok := e.(*ast.Ident)
	return ok && id.Name == name
}

// textsRead names what compares, searches, counts, indexes or parses the texts of warnings.
func textsRead(file *ast.File) (found []string) {
	t := warningTexts(file)
	see := func(what string, all ...ast.Expr) {
		for _, e := range all {
			if t.is(e) {
				found = append(found, what+" the text of a warning: ask its code")
			}
		}
	}
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.BinaryExpr:
			if n.Op != token.ADD {
				see("compares", n.X, n.Y)
			}
		case *ast.SwitchStmt:
			if n.Tag != nil {
				see("switches on", n.Tag)
			}
		case *ast.IndexExpr:
			see("indexes", n.X, n.Index)
		case *ast.SliceExpr:
			see("cuts", n.X)
		case *ast.CallExpr:
			if readers(n.Fun) {
				see("reads", n.Args...)
			}
		}
		return true
	})
	return found
}

// readers reports whether a function looks into texts: len, and those of the packages that compare, search and parse them.
func readers(fun ast.Expr) bool {
	if isNamed(fun, "len") {
		return true
	}
	s, ok := fun.(*ast.SelectorExpr)
	return ok && slices.ContainsFunc([]string{"strings", "slices", "regexp", "strconv", "bytes"}, func(p string) bool { return isNamed(s.X, p) })
}

// texts tells which expressions of a file are texts of warnings.
type texts struct {
	imported map[string]bool
	ranged   map[string]bool   // the variables that range over them
	called   map[ast.Expr]bool // what is a function
}

func warningTexts(file *ast.File) texts {
	t := texts{imported: map[string]bool{}, ranged: map[string]bool{}, called: map[ast.Expr]bool{}}
	for _, i := range file.Imports {
		path := strings.Trim(i.Path.Value, `"`)
		t.imported[path[strings.LastIndex(path, "/")+1:]] = true
	}
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.CallExpr:
			t.called[n.Fun] = true
		case *ast.RangeStmt:
			if name, ok := n.Value.(*ast.Ident); ok && t.is(n.X) {
				t.ranged[name.Name] = true
			}
		}
		return true
	})
	return t
}

// is reports whether an expression is a text of a warning, or a list of them. Text is also a method, and a name of other packages.
func (t texts) is(e ast.Expr) bool {
	switch e := e.(type) {
	case *ast.Ident:
		return t.ranged[e.Name]
	case *ast.SelectorExpr:
		x, plain := e.X.(*ast.Ident)
		return (e.Sel.Name == "Texts" || e.Sel.Name == "Text") && !t.called[e] && !(plain && t.imported[x.Name])
	}
	return false
}
