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

// ln returns the log-likelihood of the data, p being the probability of a right answer: guess at doses lower than below,
// most at those higher than above. slope is its steepness, see gridReach.
func (d doses) ln(p func(u float64) float64, guess, most, below, above, slope float64) float64 {
	if len(d.nodes) > 0 && slope*d.step <= gridReach {
		sum := 0.0
		for _, g := range d.nodes {
			at := p(g.u)
			sum += g.right*math.Log(at) + g.wrong*math.Log1p(-at)
		}
		return sum
	}
	from, to := 0, len(d.each)
	if len(d.nodes) > 0 {
		from = d.below(below)
		to = max(from, d.below(above))
	}
	last := len(d.each)
	sum := weighted(d.right[from], d.wrong[from], guess) + weighted(d.right[last]-d.right[to], d.wrong[last]-d.wrong[to], most)
	for _, t := range d.each[from:to] {
		sum += weighted(t.k, t.n-t.k, p(t.u))
	}
	return sum
}

// below returns how many doses lie below u.
func (d doses) below(u float64) int {
	i, _ := slices.BinarySearchFunc(d.each, u, func(t total, u float64) int { return cmp.Compare(t.u, u) })
	return i
}

// weighted returns right·ln p + wrong·ln(1 − p), with 0·ln 0 = 0.
func weighted(right, wrong, p float64) float64 {
	sum := 0.0
	if right > 0 {
		sum += right * math.Log(p)
	}
	if wrong > 0 {
		sum += wrong * math.Log1p(-p)
	}
	return sum
}
