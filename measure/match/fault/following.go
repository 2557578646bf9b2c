package fault

import (
	"cmp"
	"math"
	"slices"

	"heardiff/measure/match/residual"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// followsMusicDB is how large a residual that follows the music may be, relative to A: two in a thousand. Chains fit to be compared distort half
// of that or less (common practice, no source); lossy codes leave −55 to −15 dB.
const followsMusicDB = -55

// leastFollowing is the share of the residual from which on the chance scatter of noise cannot pass for what follows the music. A judgement, no source;
// TestFaultsAreFoundAndNamed holds it.
const leastFollowing = 0.25

// followsMusic warns of a large residual that follows the music and is explained by no other fault: in the full band, or in the bands in which
// there is music. Bass may hide the residual of a lossy code.
func (f *finder) followsMusic() {
	const cause = "lossy coding or processing of one, strong distortion, or fast jitter beyond that of any fit chain"
	share := f.Shares.FollowsMusic()
	db := f.NullDB + pcm.PowerDB(share)
	if share > leastFollowing && db > followsMusicDB {
		f.warn(warning.Newf(FollowsMusic, "a residual that rises and falls with the music is %.1f dB below it: %s", -db, cause).Of(db, "dB"))
		return
	}
	if low, high, db := followingBands(f.Followings()); db > followsBandDB {
		f.warn(warning.Newf(FollowsMusic, "the residual in third octaves between %.0f and %.0f Hz rises and falls with the music there, %.1f dB below it or less: %s", low, high, -db, cause).Of(db, "dB"))
	}
}

// What follows the music in a band. Judgement, no source; TestLossyCopiesAreSaidUnderLoudBass holds it.
const (
	// followsBandDB is how large it may be, relative to the music of the band, in all but leastFollowed − 1 bands.
	followsBandDB = -45
	leastFollowed = 3
	// clearlyFollows is the least ratio of this part of the residual where the music is loud to all of it where the music is quiet. Noise
	// of either capture, and a gain, a slope and a delay that change, make no more.
	clearlyFollows = 2
	// clearlyLouder is the least ratio of the power of the music of the band where it is loud to where it is quiet.
	clearlyLouder = 10
	// A harmonic of the music lies up to harmonicOrder times as high: distortion of followsBandDB + faintMusicDB comes to followsBandDB in
	// a band that is softer by faintMusicDB than those below it.
	harmonicOrder, faintMusicDB = 5, -30
)

// followingBands returns what follows the music in at least leastFollowed bands, in dB below the music of each, and from where to where
// those bands are; −Inf where there are fewer.
func followingBands(bands []residual.Following) (low, high, db float64) {
	var follow []residual.Following
	for i, b := range bands {
		loudest := 0.0
		for _, below := range bands[:i+1] {
			if below.HighHz*harmonicOrder >= b.LowHz {
				loudest = max(loudest, below.Loud)
			}
		}
		if b.Own > clearlyFollows*b.Steady && b.Loud > clearlyLouder*b.Quiet && b.Loud > loudest*pcm.Ratio(2*faintMusicDB) {
			follow = append(follow, b)
		}
	}
	if len(follow) < leastFollowed {
		return 0, 0, math.Inf(-1)
	}
	slices.SortStableFunc(follow, func(a, b residual.Following) int { return cmp.Compare(b.Share(), a.Share()) })
	follow = follow[:leastFollowed]
	low, high = follow[0].LowHz, follow[0].HighHz
	for _, b := range follow {
		low, high = min(low, b.LowHz), max(high, b.HighHz)
	}
	return low, high, pcm.PowerDB(follow[leastFollowed-1].Share())
}
