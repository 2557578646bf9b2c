package stats

import (
	"cmp"
	"math"
	"slices"
)

// Claim is a null hypothesis that a family may reject: ln of its p, and its share of its question's risk.
type Claim struct {
	LnP   float64
	Share float64
	// Planned claims are those that the plan foresaw. When all of them are rejected, their question's risk passes on.
	Planned bool
}

// Question is one comparison of a family. The shares of its claims, including those still to come, add up to at most 1.
type Question struct {
	Share   float64
	Planned bool
	// Complete says that all planned claims were made. Until then the question's risk passes to no other question.
	Complete bool
	Claims   []Claim
}

// AdjustFamily returns ln of the p of each claim, adjusted for the family-wise error rate: the probability of rejecting any
// true null of the family at level α is at most α, whatever else is true and however the claims depend on one another.
//
// It is Holm's procedure with unequal shares: a claim is rejected where its p is at most its share of the remaining risk,
// and the share of a rejected claim goes to the others of its question in proportion. Once every planned claim of a
// question is rejected, its share goes to the remaining questions equally. Shares are fixed before the first answer, so
// that the adjusted p may be read at any time if each p is valid at any time.
//
// ref: Holm (1979), with weights; Goeman & Solari (2010), The sequential rejection principle of familywise error control,
// Annals of Statistics 38(6): shares that never shrink as more is rejected keep α. From memory.
func AdjustFamily(questions []Question) [][]float64 {
	local := make([][]float64, len(questions))
	var planned []int
	worst := make([]float64, len(questions))
	for i, q := range questions {
		local[i], worst[i] = q.holm()
		if q.Planned {
			planned = append(planned, i)
		}
	}
	slices.SortStableFunc(planned, func(a, b int) int { return cmp.Compare(worst[a], worst[b]) })
	adjusted := make([][]float64, len(questions))
	for i, q := range questions {
		if !q.Planned {
			adjusted[i] = each(local[i], func(ln float64) float64 { return math.Min(0, ln-math.Log(q.Share)) })
		}
	}
	// Questions are settled one after the other: at step j, j of them have passed their share on.
	for at, i := range planned {
		adjusted[i] = each(local[i], func(ln float64) float64 {
			best, reached := 0.0, math.Inf(-1)
			for j := 0; j <= at; j++ {
				best = math.Min(best, math.Max(reached, ln-math.Log(stepShare(questions, planned, j))))
				reached = math.Max(reached, worst[planned[j]]-math.Log(stepShare(questions, planned, j)))
			}
			return best
		})
	}
	return adjusted
}

// stepShare is the share of each planned question once the first j have passed theirs on. All planned questions have equal
// shares, including those not asked yet.
func stepShare(questions []Question, planned []int, j int) float64 {
	first := questions[planned[0]].Share
	return first / (1 - float64(j)*first)
}

func each(v []float64, f func(float64) float64) []float64 {
	out := make([]float64, len(v))
	for i, x := range v {
		out[i] = f(x)
	}
	return out
}

// holm adjusts the claims within their question, as if it had all the risk; worst is the adjusted p of the last planned
// claim, +∞ until the question is complete.
func (q Question) holm() (adjusted []float64, worst float64) {
	ratio := make([]float64, len(q.Claims))
	for i, c := range q.Claims {
		ratio[i] = c.LnP - math.Log(c.Share)
	}
	adjusted, remaining, most := make([]float64, len(q.Claims)), 1.0, math.Inf(-1)
	for _, i := range sorted(ratio) {
		most = math.Max(most, ratio[i]+math.Log(math.Max(remaining, q.Claims[i].Share)))
		adjusted[i] = math.Min(0, most)
		remaining -= q.Claims[i].Share
	}
	worst = math.Inf(1)
	if !q.Complete {
		return adjusted, worst
	}
	worst = math.Inf(-1)
	for i, c := range q.Claims {
		if c.Planned {
			worst = math.Max(worst, adjusted[i])
		}
	}
	return adjusted, worst
}
