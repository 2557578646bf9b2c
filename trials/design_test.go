package trials

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"heardiff/stats"
)

// Every design must have complete assignments, each answer right in the same share of them, which is the chance level of
// the model by which it is scored, and keys that do not collide.
func TestEveryDesignIsComplete(t *testing.T) {
	for _, d := range Designs() {
		labels, answers := d.Labels(), d.Answers()
		right := map[Answer]int{}
		for _, a := range d.of.dealt {
			if len(a.sounds) != len(labels) || d.index(a.right) < 0 {
				t.Errorf("%s: assignment %v, %q", d, a.sounds, a.right)
			}
			right[a.right]++
		}
		for _, a := range answers {
			if share := float64(right[a]) / float64(len(d.of.dealt)); share != d.Chance() {
				t.Errorf("%s: always %q is right in %v of the trials, chance is %v", d, a, share, d.Chance())
			}
			if d.Claim(a) == "" {
				t.Errorf("%s: no words for %q", d, a)
			}
		}
		bound := map[string]bool{}
		for _, b := range append(d.PlayKeys(), d.AnswerKeys()...) {
			for _, k := range b.Keys {
				if bound[k] || b.Help == "" {
					t.Errorf("%s: key %q is bound twice, or without words", d, k)
				}
				bound[k] = true
			}
		}
		for i, b := range d.PlayKeys() { // the digits mean the same in every design
			if !slices.Contains(b.Keys, strconv.Itoa(i+1)) {
				t.Errorf("%s: presentation %d is not played by its digit, but by %q", d, i+1, b.Keys)
			}
		}
		for _, b := range d.AnswerKeys() {
			if strings.ContainsAny(b.Keys[0], "0123456789") {
				t.Errorf("%s: %q answers: digits play", d, b.Keys[0])
			}
		}
		if parsed, err := ParseDesign(d.String()); err != nil || parsed != d {
			t.Errorf("%s reads as %v, %v", d, parsed, err)
		}
		if d.Words() == "" || d.Question() == "" || d.of.mustHear == "" || d.ResultKey() == "" {
			t.Errorf("%s: words are missing", d)
		}
	}
}

// A guesser is right as often as the design's chance level, and the score's p agrees.
func TestScoreIsAgainstTheDesignsChance(t *testing.T) {
	for _, d := range Designs() {
		s, err := d.Score(3, 3, stats.ScoreConfig{})
		if err != nil {
			t.Fatal(err)
		}
		want := 1.0
		for range 3 {
			want /= float64(len(d.Answers()))
		}
		if s.Design != d.String() || s.Chance != d.Chance() || s.P < want*(1-1e-12) || s.P > want*(1+1e-12) {
			t.Errorf("%s: 3 of 3 has p %v, want %v; %+v", d, s.P, want, s)
		}
	}
}

// An answer is accepted only after everything that the design requires was heard.
func TestEveryDesignSaysWhatMustBeHeard(t *testing.T) {
	for _, c := range []struct {
		design Design
		heard  []int64
		enough bool
	}{
		{ABX, []int64{0, 9, 9}, true}, {ABX, []int64{9, 9, 0}, false}, {ABX, []int64{0, 0, 9}, false},
		{SameDifferent, []int64{9, 9}, true}, {SameDifferent, []int64{9, 0}, false},
		{Triangle, []int64{9, 9, 9}, true}, {Triangle, []int64{9, 0, 9}, false}, {Triangle, []int64{9, 9}, false},
		{TwoInterval, []int64{9, 9}, true}, {TwoInterval, []int64{0, 9}, false},
	} {
		if got := c.design.heardFor(c.heard, 9); got != c.enough {
			t.Errorf("%s: %v is enough: %v", c.design, c.heard, got)
		}
	}
}

// Records of sessions made before designs were values: the first 8 bytes of the SHA-256 of plan, entries, revealed result
// and summary in JSON, as the program wrote them then.
func TestOldRecordsAreTheSameBytes(t *testing.T) {
	for _, c := range []struct {
		design                         Design
		order                          Order
		plan, entries, result, summary string
	}{
		{ABX, Independent, "86730ae59771dd5e", "de575519891d7247", "cfee718ac6ba3f1f", "5090f8bb89cf7272"},
		{ABX, Balanced, "90be488c6dd4fdf0", "b85b263ecefb99b5", "cb48c2ac1f6340eb", "f9bf50a7e4725bb9"},
		{SameDifferent, Independent, "4d107ebaf4822407", "5e470c5f0a3b66f5", "6c30ae436da2de87", "8fa68433e118e38e"},
		{SameDifferent, Balanced, "167f53810ae0b4b6", "7ae524ca09267f41", "c5a0a4e23d575b6c", "f9bf50a7e4725bb9"},
	} {
		p := testPlan(c.design, 9)
		p.Order = c.order
		p.Comparisons = append(p.Comparisons, Comparison{Name: "plain", Kind: PositiveControl, A: "left", B: "left", Excerpt: "e", AudioA: "aa", AudioB: "cc", Trials: 2},
			Comparison{Name: "none", Kind: NegativeControl, A: "left", B: "left", Excerpt: "e", AudioA: "aa", AudioB: "aa", Trials: 2})
		s, m := begin(t, p, Seed{21, 22})
		for i := 0; s.View().Phase != Done; i++ {
			answer(t, s, c.design.Answers()[i%3%2])
			if i == 2 {
				if err := s.Void("a door"); err != nil {
					t.Fatal(err)
				}
			}
		}
		r, err := s.Result(m.entries)
		if err != nil {
			t.Fatal(err)
		}
		for name, v := range map[string]struct {
			of   any
			want string
		}{"plan": {p, c.plan}, "entries": {m.entries, c.entries}, "result": {r, c.result}, "summary": {r.Summary(), c.summary}} {
			data, err := json.Marshal(v.of)
			if err != nil {
				t.Fatal(err)
			}
			if sum := sha256.Sum256(data); fmt.Sprintf("%x", sum[:8]) != v.want {
				t.Errorf("%s, %s: the %s has other bytes than before: %x", c.design, c.order, name, sum[:8])
			}
		}
	}
}

// Every reader of a plan or an entry decodes it from JSON: unknown designs, answers and labels are rejected there.
func TestUnknownDesignIsRefused(t *testing.T) {
	for name, v := range map[string]any{"tetrad": &Plan{}, "": &Plan{}} {
		if err := json.Unmarshal(fmt.Appendf(nil, `{"id":"1","design":%q}`, name), v); err == nil || !strings.Contains(err.Error(), "unknown") {
			t.Errorf("design %q: %v", name, err)
		}
	}
	var p Plan
	if err := json.Unmarshal([]byte(`{"id":"1"}`), &p); err != nil || p.Validate() == nil {
		t.Errorf("a plan without a design: %v, accepted", err)
	}
	if err := json.Unmarshal([]byte(`{"answer":"4"}`), &Entry{}); err == nil {
		t.Error("an answer that no design has was read")
	}
	two := testPlan(TwoInterval, 2)
	s, m := begin(t, two, Seed{3})
	answer(t, s, "1")
	m.entries[len(m.entries)-1].Answer = "3" // of another design
	m.entries[len(m.entries)-1].Hash = m.entries[len(m.entries)-1].Digest()
	if _, err := Resume(two, Seed{3}, m.entries, m, clock()); err == nil || !strings.Contains(err.Error(), "not of the two-interval design") {
		t.Errorf("an answer of another design: %v", err)
	}
}

func TestBalancedOrderNeedsTwoAnswers(t *testing.T) {
	for _, d := range Designs() {
		p := testPlan(d, 12)
		p.Order = Balanced
		if err := p.Validate(); (err == nil) != (len(d.Answers()) == 2) {
			t.Errorf("%s: %v", d, err)
		}
	}
}

// No code outside the designs' own files may distinguish designs: no comparison with one, no switch, no table keyed by them.
// The design itself is asked instead.
func TestNobodyTellsDesignsApart(t *testing.T) {
	if found := tellsDesignsApart(t, "..", nil); len(found) > 0 {
		t.Errorf("designs are told apart outside their files:\n%s", strings.Join(found, "\n"))
	}
	bad := "package trials\nfunc f(p Plan) bool { switch p.Design { case ABX: return true }; return p.Design.String() == \"triangle\" }\n" +
		"var by = map[Design]int{TwoInterval: 1}"
	if found := tellsDesignsApart(t, "", []byte(bad)); len(found) != 3 {
		t.Errorf("the walk finds %q where three tell designs apart", found)
	}
}

// tellsDesignsApart lists, in the Go files under root (or in one source), cases of a design, comparisons with one or with
// its name, and tables by designs.
func tellsDesignsApart(t *testing.T, root string, source []byte) []string {
	t.Helper()
	var found []string
	set := token.NewFileSet()
	look := func(file *ast.File) {
		ast.Inspect(file, func(n ast.Node) bool {
			for _, e := range toldApartBy(n) {
				if namesDesign(e) {
					found = append(found, set.Position(n.Pos()).String())
					return false
				}
			}
			return true
		})
	}
	if source != nil {
		file, err := parser.ParseFile(set, "bad.go", source, 0)
		if err != nil {
			t.Fatal(err)
		}
		look(file)
		return found
	}
	err := filepath.WalkDir(root, func(path string, e fs.DirEntry, err error) error {
		name := filepath.Base(path)
		if err == nil && path == filepath.Join(root, "stats") {
			return fs.SkipDir // its procedures have similar names
		}
		own := filepath.Dir(path) == filepath.Join(root, "trials") && strings.HasPrefix(name, "design")
		if err != nil || e.IsDir() || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") || own {
			return err
		}
		file, err := parser.ParseFile(set, path, nil, 0)
		if err == nil {
			look(file)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// toldApartBy returns what a node compares, branches on, or is keyed by.
func toldApartBy(n ast.Node) []ast.Expr {
	switch n := n.(type) {
	case *ast.BinaryExpr:
		if n.Op == token.EQL || n.Op == token.NEQ {
			return []ast.Expr{n.X, n.Y}
		}
	case *ast.CaseClause:
		return n.List
	case *ast.CompositeLit:
		if _, table := n.Type.(*ast.MapType); !table {
			return nil
		}
		var keys []ast.Expr
		for _, e := range n.Elts {
			if e, ok := e.(*ast.KeyValueExpr); ok {
				keys = append(keys, e.Key)
			}
		}
		return keys
	}
	return nil
}

// namesDesign reports whether an expression is one of the designs, or the name of one in a string.
func namesDesign(e ast.Expr) bool {
	switch e := e.(type) {
	case *ast.SelectorExpr:
		return namesDesign(e.Sel) || namesDesign(e.X)
	case *ast.CallExpr:
		return namesDesign(e.Fun)
	case *ast.Ident:
		return map[string]bool{"ABX": true, "SameDifferent": true, "Triangle": true, "TwoInterval": true}[e.Name]
	case *ast.BasicLit:
		for _, d := range Designs() {
			if e.Value == `"`+d.String()+`"` {
				return true
			}
		}
	}
	return false
}
