package stats

import (
	"cmp"
	"math"
	"slices"
)

// Claim is a null that a family may reject: ln of its p, and the share of its question's risk that it has for itself.
type Claim struct {
	LnP   float64
	Share float64
	// Planned claims are those that the plan foresaw; where all of them are rejected, their question's risk passes on.
	Planned bool
}

// Question is one comparison of a family. The shares of its claims, and of those that are still to come, add up to at
// most 1.
type Question struct {
	Share   float64
	Planned bool
	// Complete says that all claims foreseen were made. While one is open the question's risk passes to no other.
	Complete bool
	Claims   []Claim
}

// AdjustFamily returns ln of the p of each claim, adjusted so that the chance of rejecting any true null of the whole
// family at level α is at most α, whatever else is true and however the claims depend on one another.
//
// It is Holm's procedure with unequal shares: a claim is rejected where its p is at most its share of what is left, and
// what a rejected claim had then goes to the others of its question in proportion. Where every planned claim of a
// question has been rejected, its share goes to the questions that are left, equally. Shares are fixed before the first
// answer, so that p may be looked at any time if each is valid at any time.
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
	// Questions settled one after the other: at step j, j of them have passed their share on.
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

// stepShare is what each planned question has once the first j have passed theirs on: planned questions have equal
// shares, those not asked yet among them.
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

// holm adjusts the claims within their question, as if it had all the risk; worst is what settles all planned claims.
func (q Question) holm() (adjusted []float64, worst float64) {
	ratio := make([]float64, len(q.Claims))
	for i, c := range q.Claims {
		ratio[i] = c.LnP - math.Log(c.Share)
	}
	adjusted, left, most := make([]float64, len(q.Claims)), 1.0, math.Inf(-1)
	for _, i := range sorted(ratio) {
		most = math.Max(most, ratio[i]+math.Log(math.Max(left, q.Claims[i].Share)))
		adjusted[i] = math.Min(0, most)
		left -= q.Claims[i].Share
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
