package measure

// InLUFS returns the loudness in LUFS over every n successive tenths of a second.
func (m *LoudnessMeter) InLUFS(n int) []float64 {
	out := m.windows(n)
	for i, p := range out {
		out[i] = lufs(p)
	}
	return out
}
