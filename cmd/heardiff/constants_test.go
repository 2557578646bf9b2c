package main

import (
	"go/ast"
	"go/token"
	"strings"
	"testing"
)

// A number that decides is a constant with a name, its unit and where it comes from: no comparison by size holds another number than 0, 1/2,
// 1 and 2, except in indices and bounds of slices. What only tests use is left out.
func TestNumbersThatDecideHaveNames(t *testing.T) {
	eachProgramSource(t, codeRooms, func(s source) { findBareNumbers(t, s) })
}

// findBareNumbers reports the comparisons of a file that hold a bare number.
func findBareNumbers(t *testing.T, s source) {
	ast.Inspect(s.File, func(n ast.Node) bool {
		c, ok := n.(*ast.BinaryExpr)
		if !ok || c.Op != token.LSS && c.Op != token.GTR && c.Op != token.LEQ && c.Op != token.GEQ {
			return true
		}
		for _, side := range []ast.Expr{c.X, c.Y} {
			if number := bareNumber(side); number != "" {
				t.Errorf("%s: %s decides without a name", s.at(c.Pos()), number)
			}
		}
		return true
	})
}

// bareNumber returns a number in an expression that needs a name, "" where there is none.
func bareNumber(e ast.Expr) (number string) {
	ast.Inspect(e, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.IndexExpr, *ast.SliceExpr, *ast.FuncLit:
			return false
		case *ast.BasicLit:
			if (n.Kind == token.INT || n.Kind == token.FLOAT) && !strings.Contains(" 0 0.5 1 2 ", " "+n.Value+" ") {
				number = n.Value
			}
		}
		return true
	})
	return number
}
