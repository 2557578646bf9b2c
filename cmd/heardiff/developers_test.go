package main

import (
	"go/ast"
	"regexp"
	"strings"
	"testing"
)

// The guide for contributors names what is there: each function of its walk from main to the verdict, and each test.
func TestTheGuideForContributorsNamesWhatIsThere(t *testing.T) {
	data := contentOf(t, "../../DEVELOPERS.md")
	_, walk, begun := strings.Cut(data, "To read it top-down:")
	walk, _, ended := strings.Cut(walk, "\n\n")
	if !begun || !ended {
		t.Fatal("the walk is gone")
	}
	functions := functionsOfTheTree(t)
	names := regexp.MustCompile("`([A-Za-z]+\\.[A-Za-z]+)`").FindAllStringSubmatch(walk, -1)
	if len(names) != 10 {
		t.Errorf("the walk has %d functions, want ten", len(names))
	}
	for _, n := range names {
		if !functions[n[1]] {
			t.Errorf("there is no %s", n[1])
		}
	}
	tests := testsOfTheTree(t)
	for _, name := range testName.FindAllString(data, -1) {
		if name != "Example" && !tests[name] {
			t.Errorf("there is no %s", name)
		}
	}
}

// functionsOfTheTree returns the names of all functions and methods: a function's after that of its package, a
// method's after that of its receiver.
func functionsOfTheTree(t *testing.T) map[string]bool {
	t.Helper()
	names := map[string]bool{}
	eachProgramSource(t, codeRooms, func(s source) {
		for _, d := range s.Decls {
			if f, ok := d.(*ast.FuncDecl); ok {
				names[ownerOf(f, s.Name.Name)+"."+f.Name.Name] = true
			}
		}
	})
	return names
}

// ownerOf returns the type of a method, else the package.
func ownerOf(f *ast.FuncDecl, of string) string {
	if f.Recv == nil {
		return of
	}
	receiver := f.Recv.List[0].Type
	if pointer, ok := receiver.(*ast.StarExpr); ok {
		receiver = pointer.X
	}
	if name, ok := receiver.(*ast.Ident); ok {
		return name.Name
	}
	return ""
}
