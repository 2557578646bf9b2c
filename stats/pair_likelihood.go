package stats

import "math"

// setLikelihood fills in the likelihood-ratio test of the two rates: two binomial counts, without any model of hearing.
func (s *PairScore) setLikelihood() {
	together := rate(s.Hits+s.FalseAlarms, s.Misses+s.CorrectRejections)
	s.LogLikelihood = s.lnPairs(s.HitRate, s.FalseAlarmRate)
	s.LikelihoodRoot = math.Sqrt(2 * math.Max(0, s.LogLikelihood-s.lnPairs(together, together)))
	if s.HitRate < s.FalseAlarmRate {
		s.LikelihoodRoot = -s.LikelihoodRoot
	}
	s.PLikelihood = math.Exp(lnNormalUpper(s.LikelihoodRoot))
}
