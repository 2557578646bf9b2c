package stats

import (
	"cmp"
	"math"
	"slices"
)

// total is k of n at one dose, over all listeners.
type total struct{ u, k, n float64 }

// doses holds what the likelihood of a psychometric function needs of the data, by rising dose. So that its cost does not
// grow with the number of doses, many doses are also interpolated onto the nodes of a grid.
type doses struct {
	each  []total
	right []float64 // right[i] is Σ k of the first i doses
	wrong []float64 // likewise Σ (n − k)
	nodes []node
	step  float64 // between nodes
}

// node is one point of the grid, with the weights of ln p and ln(1 − p) there.
type node struct{ u, right, wrong float64 }

const (
	// gridNodes is the number of nodes over the range of the doses. The grid is used where it saves at least half the work.
	gridNodes = 512
	// gridReach is the largest spacing of nodes, in units of 1/slope. The error of sextic interpolation is then below 1e-10
	// of a trial's log-likelihood; see TestTheGridIsTheSum.
	gridReach = 0.04
)

// addUp returns the doses of the fitter's data, added up over listeners.
func (f *fitter) addUp() doses {
	at := map[float64]int{}
	var d doses
	for i, u := range f.u {
		j, known := at[u]
		if !known {
			j = len(d.each)
			at[u] = j
			d.each = append(d.each, total{u: u})
		}
		d.each[j].k += f.k[i]
		d.each[j].n += f.n[i]
	}
	slices.SortFunc(d.each, func(a, b total) int { return cmp.Compare(a.u, b.u) })
	d.right, d.wrong = make([]float64, len(d.each)+1), make([]float64, len(d.each)+1)
	for i, t := range d.each {
		d.right[i+1], d.wrong[i+1] = d.right[i]+t.k, d.wrong[i]+t.n-t.k
	}
	// Without guessing p may be close to 0, where its logarithm is too steep for a grid.
	if len(d.each) > 2*gridNodes && f.cfg.Guess > 0 {
		d.carry(f.low, f.high)
	}
	return d
}

// carry sets up the grid and distributes every dose over the six nodes around it by Lagrange's weights.
func (d *doses) carry(low, high float64) {
	d.step = (high - low) / (gridNodes - 1)
	d.nodes = make([]node, gridNodes)
	for i := range d.nodes {
		d.nodes[i].u = low + float64(i)*d.step
	}
	for _, t := range d.each {
		if math.IsInf(t.u, -1) { // a dose of zero does not lie on a logarithmic grid
			d.nodes = append(d.nodes, node{t.u, t.k, t.n - t.k})
			continue
		}
		x := (t.u - low) / d.step
		first := min(max(int(x)-2, 0), gridNodes-6)
		for a := range 6 {
			w := 1.0
			for b := range 6 {
				if a != b {
					w *= (x - float64(first+b)) / float64(a-b)
				}
			}
			d.nodes[first+a].right += w * t.k
			d.nodes[first+a].wrong += w * (t.n - t.k)
		}
	}
}

// risen is k right and n − k wrong answers at doses where the curve has risen to rise, 0 to 1.
type risen struct{ right, wrong, rise float64 }

// rises appends the data to all, with what a curve has risen to at each dose: 0 at doses lower than below, 1 at those
// higher than above. slope is its steepness, see gridReach.
func (d doses) rises(all []risen, rise func(u float64) float64, below, above, slope float64) []risen {
	if len(d.nodes) > 0 && slope*d.step <= gridReach {
		for _, g := range d.nodes {
			all = append(all, risen{g.right, g.wrong, rise(g.u)})
		}
		return all
	}
	from, to := 0, len(d.each)
	if len(d.nodes) > 0 {
		from = d.below(below)
		to = max(from, d.below(above))
	}
	last := len(d.each)
	all = append(all, risen{d.right[from], d.wrong[from], 0}, risen{d.right[last] - d.right[to], d.wrong[last] - d.wrong[to], 1})
	for _, t := range d.each[from:to] {
		all = append(all, risen{t.k, t.n - t.k, rise(t.u)})
	}
	return all
}

// below returns how many doses lie below u.
func (d doses) below(u float64) int {
	i, _ := slices.BinarySearchFunc(d.each, u, func(t total, u float64) int { return cmp.Compare(t.u, u) })
	return i
}

// weighted returns right·ln p + wrong·ln(1 − p), with 0·ln 0 = 0. The weights of a grid's nodes may be below zero.
func weighted(right, wrong, p float64) float64 {
	sum := 0.0
	if right != 0 {
		sum += right * math.Log(p)
	}
	if wrong != 0 {
		sum += wrong * math.Log1p(-p)
	}
	return sum
}
