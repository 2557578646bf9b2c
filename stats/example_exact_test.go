package stats_test

import (
	"fmt"

	"heardiff/stats"
)

// Five of five by hand: 1/2⁵; two-sided, 0 of 5 counts too: 2/2⁵; the mid-p is half of 1/2⁵.
func ExampleBinomialTest() {
	b, err := stats.BinomialTest(5, 5, 0.5)
	fmt.Printf("%.5f, two-sided %.4f, mid-p %.6f, %v\n", b.P, b.TwoSided, b.MidP, err)
	// Output: 0.03125, two-sided 0.0625, mid-p 0.015625, <nil>
}

// A listener who knows the answer on half of the trials is right with p = 3/4: 0 of 2 then has probability (1/4)² = 0.0625,
// and 0 of 3 has (1/4)³ = 0.0156, the first below 0.05.
func ExampleLargestRulingOut() {
	_, ok := stats.LargestRulingOut(2, 0.5, 0.5, 0.05)
	k, okThree := stats.LargestRulingOut(3, 0.5, 0.5, 0.05)
	fmt.Println(ok, k, okThree)
	// Output: false 0 true
}

// For n of n right the exact lower limit is (α/2)^(1/n): 0.025^(1/10) = 0.6915.
func ExampleProportionIntervals() {
	v, err := stats.ProportionIntervals(10, 10, 0.95)
	fmt.Printf("exact %.4f to %.0f, Wilson from %.4f, %v\n", v.ClopperPearson[0], v.ClopperPearson[1], v.Wilson[0], err)
	// Output: exact 0.6915 to 1, Wilson from 0.7225, <nil>
}

// For none of n right the upper limit of p is 1 − α^(1/n): 1 − 0.05^(1/10) = 0.2589.
func ExampleUpperProportion() {
	fmt.Printf("%.4f\n", stats.UpperProportion(0, 10, 0.95))
	// Output: 0.2589
}

// For n of n right the lower limit of p is α^(1/n): 0.05^(1/10) = 0.7411.
func ExampleLowerProportion() {
	fmt.Printf("%.4f\n", stats.LowerProportion(10, 10, 0.95))
	// Output: 0.7411
}

// At d′ = 2: Φ(√2)·Φ(1) + Φ(−√2)·Φ(−1) = 0.92135·0.84134 + 0.07865·0.15866 = 0.78765.
func ExampleABXIndependent() {
	fmt.Printf("%.4f %.1f\n", stats.ABXIndependent(2), stats.ABXIndependent(0))
	// Output: 0.7877 0.5
}

// At d′ = √6 = 2.449: Φ(√3)·Φ(1) + Φ(−√3)·Φ(−1) = 0.95837·0.84134 + 0.04163·0.15866 = 0.8129.
func ExampleABXDifferencing() {
	fmt.Printf("%.4f\n", stats.ABXDifferencing(2.449490))
	// Output: 0.8129
}

// At d′ = 2: Φ(1)² + Φ(−1)² = 0.70786 + 0.02517 = 0.7330.
func ExamplePairUnbiased() {
	fmt.Printf("%.4f\n", stats.PairUnbiased(2))
	// Output: 0.7330
}

// The inverse of the example above; d′ is 0 at and below chance, and no d′ makes answers perfect.
func ExampleABXIndependentInverse() {
	fmt.Printf("%.3f %.0f %.0f\n", stats.ABXIndependentInverse(0.787652), stats.ABXIndependentInverse(0.4), stats.ABXIndependentInverse(1))
	// Output: 2.000 0 NaN
}

func ExampleABXDifferencingInverse() {
	fmt.Printf("%.3f\n", stats.ABXDifferencingInverse(0.812907))
	// Output: 2.449
}

// Three quarters right: half known, and half of the other half guessed right.
func ExampleDiscriminators() {
	fmt.Println(stats.Discriminators(0.75, 0.5), stats.Discriminators(0.4, 0.5))
	// Output: 0.5 0
}

func ExampleFromDiscriminators() {
	fmt.Println(stats.FromDiscriminators(0.5, 0.5))
	// Output: 0.75
}

func ExamplePlan_MarshalText() {
	text, err := stats.SequentialPlan.MarshalText()
	fmt.Println(string(text), err)
	// Output: sequential <nil>
}

// The same listener, d′ = 2, in five procedures.
func ExampleProcedure_Correct() {
	for _, p := range []stats.Procedure{stats.TwoChoices, stats.ABXObservations, stats.DuoTrio, stats.Triangle, stats.Tetrad} {
		fmt.Printf("%s %.3f\n", p, p.Correct(2))
	}
	// Output:
	// 2-afc 0.921
	// abx 0.788
	// duo-trio 0.747
	// triangle 0.605
	// tetrad 0.778
}

// For two alternatives d′ is √2·Φ⁻¹(p): 1.41421·0.67449 = 0.9539.
func ExampleProcedure_DPrime() {
	fmt.Printf("%.4f\n", stats.TwoChoices.DPrime(0.75))
	// Output: 0.9539
}

// The curve of ABX is flat at d′ = 0, that of two alternatives is not: φ(0)/√2 = 0.2821.
func ExampleProcedure_Slope() {
	fmt.Printf("%.0f %.4f\n", stats.ABXObservations.Slope(0), stats.TwoChoices.Slope(0))
	// Output: 0 0.2821
}

// √(p·q/n) over the slope, as published for 10 of 15 in a duo-trio test: 0.7159.
func ExampleProcedure_DPrimeError() {
	fmt.Printf("%.4f\n", stats.DuoTrio.DPrimeError(10, 15))
	// Output: 0.7159
}

func ExampleProcedure_Chance() {
	fmt.Printf("%s %.4f, %s %.1f\n", stats.Triangle, stats.Triangle.Chance(), stats.DuoTrio, stats.DuoTrio.Chance())
	// Output: triangle 0.3333, duo-trio 0.5
}

func ExampleParseProcedure() {
	p, err := stats.ParseProcedure("triangle")
	_, unknown := stats.ParseProcedure("taste")
	fmt.Println(p, err, unknown != nil)
	// Output: triangle <nil> true
}

// √{2·[7·ln(7/5) + 3·ln(3/5)]} = √(4.71067 − 3.06495) = 1.2828.
func ExampleLikelihoodRoot() {
	root, p, err := stats.LikelihoodRoot(7, 10, 0.5)
	fmt.Printf("%.4f, p = %.4f, %v\n", root, p, err)
	// Output: 1.2828, p = 0.0998, <nil>
}
