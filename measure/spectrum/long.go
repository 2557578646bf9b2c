package spectrum

import (
	"math"
	"math/bits"
	"sync"

	"gonum.org/v1/gonum/dsp/fourier"
)

// longFrom is the length from which a transform no longer fits a processor's cache and is made of short ones.
const longFrom = 1 << 16

// long is a complex transform of rows·columns samples, made of transforms that fit the cache.
//
// With i = r·columns + c and k = k₁ + rows·k₂ it is Σ_c W^(c·k₁)·W_columns^(c·k₂)·Σ_r x[i]·W_rows^(r·k₁):
// a transform along every column, a turn of each value by c·k₁ parts of a circle, a transform along every row, and a transposition.
// With as many rows as columns all of it is done in place; else the transposition needs twice the memory.
//
// ref: D. H. Bailey, "FFTs in external or hierarchical memory", J. Supercomputing 4, 1990.
type long struct {
	rows, columns int
	work          []complex128 // nil with as many rows as columns
	halves        [2]half
}

// half is what one of two goroutines works with.
type half struct {
	along, across *fourier.CmplxFFT // a row and a column
	tile          [tileWidth][]complex128
}

// tileWidth columns are taken together: 128 bytes, so that all of each piece of memory fetched is used.
const tileWidth = 8

func newLong(n int) *long {
	power := bits.Len(uint(n)) - 1
	l := &long{rows: 1 << (power / 2), columns: 1 << (power - power/2)}
	if l.rows != l.columns {
		l.work = make([]complex128, n)
	}
	for i := range l.halves {
		h := &l.halves[i]
		h.along, h.across = fourier.NewCmplxFFT(l.columns), fourier.NewCmplxFFT(l.rows)
		for c := range h.tile {
			h.tile[c] = make([]complex128, l.rows)
		}
	}
	return l
}

// forward writes the transform of src into dst, which may be src.
func (l *long) forward(dst, src []complex128) {
	between := l.work
	if between == nil {
		between = dst
	}
	l.both(l.columns/tileWidth, func(h *half, tile int) { l.transformColumns(h, between, src, tile*tileWidth) })
	if l.work != nil {
		l.both(l.rows/tileWidth, func(h *half, tile int) { l.transpose(dst, l.transformRows(h, between, tile*tileWidth), tile*tileWidth) })
		return
	}
	l.both(l.rows/tileWidth, func(h *half, tile int) { l.transformRows(h, dst, tile*tileWidth) })
	l.both(l.rows/tileWidth, func(_ *half, tile int) { l.exchange(dst, tile*tileWidth) })
}

// both calls f for every tile, in two goroutines that take turns: the later a tile, the less there may be to do.
func (l *long) both(tiles int, f func(h *half, tile int)) {
	var wait sync.WaitGroup
	for i := range l.halves {
		wait.Go(func() {
			for tile := i; tile < tiles; tile += len(l.halves) {
				f(&l.halves[i], tile)
			}
		})
	}
	wait.Wait()
}

// transformColumns transforms tileWidth columns of src from the first into dst.
func (l *long) transformColumns(h *half, dst, src []complex128, first int) {
	for r := range l.rows {
		for c, v := range src[r*l.columns+first:][:tileWidth] {
			h.tile[c][r] = v
		}
	}
	for c, column := range h.tile {
		h.across.Coefficients(column, column)
		sin, cos := math.Sincos(-2 * math.Pi * float64(first+c) / float64(l.rows*l.columns))
		step, turn := complex(cos, sin), complex(1, 0)
		for r := range column {
			column[r] *= turn
			turn *= step
		}
	}
	for r := range l.rows {
		row := dst[r*l.columns+first:][:tileWidth]
		for c := range row {
			row[c] = h.tile[c][r]
		}
	}
}

// transformRows transforms tileWidth rows of x from the first in place, and returns them.
func (l *long) transformRows(h *half, x []complex128, first int) [tileWidth][]complex128 {
	var rows [tileWidth][]complex128
	for r := range rows {
		rows[r] = x[(first+r)*l.columns:][:l.columns]
		h.along.Coefficients(rows[r], rows[r])
	}
	return rows
}

// transpose writes rows, whose indices begin at first, as columns of dst.
func (l *long) transpose(dst []complex128, rows [tileWidth][]complex128, first int) {
	for c := range l.columns {
		out := dst[c*l.rows+first:][:tileWidth]
		for r := range out {
			out[r] = rows[r][c]
		}
	}
}

// exchange lets tileWidth rows of a square from the first change places with its columns, from the diagonal on.
func (l *long) exchange(x []complex128, first int) {
	n := l.columns
	for from := first; from < n; from += tileWidth {
		for r := first; r < first+tileWidth; r++ {
			for c := max(from, r+1); c < from+tileWidth; c++ {
				x[r*n+c], x[c*n+r] = x[c*n+r], x[r*n+c]
			}
		}
	}
}
