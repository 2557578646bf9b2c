package playback

// Fill writes the next len(dst)/Channels frames, interleaved, full scale ±1.0. It does not allocate and never
// exceeds ±1. Outside fades it passes 24-bit samples unchanged: 1·x + 0·y is exact.
// len(dst) must be a multiple of Channels.
func (s *Switcher) Fill(dst []float32) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for len(dst) > 0 {
		s.frame(dst[:s.channels])
		dst = dst[s.channels:]
		s.clock++
	}
}

// frame writes one frame and advances by one.
func (s *Switcher) frame(dst []float32) {
	s.moveLevel()
	if s.level == 0 {
		clear(dst)
		return
	}
	s.moveGains()
	w := 1.0
	if s.seam < s.fade {
		s.seam++
		w = raised(float64(s.seam) / float64(s.fade))
	}
	level := raised(s.level)
	for c := range dst {
		v := s.mix(s.at*s.channels + c)
		if w < 1 {
			v = w*v + (1-w)*s.mix(s.tail*s.channels+c)
		}
		dst[c] = ceiling(float32(level * v))
	}
	if s.level == 1 && s.mixed == s.fade && s.slot >= 0 {
		s.heard[s.slot]++
	}
	s.advance()
}

// mix returns one sample of all presentations at their gains. Every one is read, even at gain 0.
func (s *Switcher) mix(k int) float64 {
	v := 0.0
	for p, audio := range s.audio {
		v += s.gain[p] * float64(audio[k])
	}
	return v
}

// ceiling is the last safeguard before the device: no sample exceeds full scale.
func ceiling(v float32) float32 { return max(-1, min(1, v)) }

// moveLevel moves the level by one frame towards silence or sound.
func (s *Switcher) moveLevel() {
	if s.playing && !s.waiting() {
		if s.level < 1 {
			if s.level += s.step; s.level > 1-s.step/2 { // whatever rounding has done to the sum
				s.level, s.step = 1, 1/float64(s.fade) // only the first fade-in is long
			}
		}
		return
	}
	if s.level > 0 {
		if s.level -= 1 / float64(s.fade); s.level < 0.5/float64(s.fade) {
			s.level = 0
		}
	}
	s.settle()
}

// moveGains moves the cross-fade by one frame. The gains are a weighted mean of two sets that each add up to 1.
func (s *Switcher) moveGains() {
	if s.mixed == s.fade {
		return
	}
	s.mixed++
	w := raised(float64(s.mixed) / float64(s.fade))
	for p := range s.gain {
		s.gain[p] = (1-w)*s.from[p] + w*s.to[p]
	}
}

// advance moves on by one frame. Near the end of the region it begins the seam, in which the end of the region fades out
// while its start fades in.
func (s *Switcher) advance() {
	s.at++
	s.tail++
	if s.at >= s.end-s.fade && s.seam == s.fade {
		s.tail, s.at, s.seam = s.at, s.start, 0
	}
}
