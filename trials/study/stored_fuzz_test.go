package study

import (
	"math"
	"testing"

	"heardiff/trials/link"
)

// FuzzStored: whatever is stored as the result of a measurement, reading it gives figures that it declares, none of them infinite,
// or an error; the same text is read as a result of every kind.
func FuzzStored(f *testing.F) {
	for _, seed := range []string{
		`{"schema":"heardiff.jitter/1","carrier_hz":12000,"rate_hz":48000,"seconds":12,"band_hz":[10,9600],"channel":[{"channel":1,"random_ps_rms":null,"random_limit_ps_rms":9,"random_at_floor":true,"random_bands":[{"low_hz":10,"high_hz":100,"ps_rms":4}],"deterministic_ps_rms":3,"lines":[{"offset_hz":100,"peak_ps":5,"sideband_dbc":-120,"inherent":false}]}],"warnings":[]}`,
		`{"schema":"heardiff.tone/1","channel":[{"channel":1,"frequency_hz":997,"level_dbfs":-1,"thd_db":-110,"thd_n_db":-104,"harmonics":[{"order":2,"dbc":-112}],"hum":[],"limits":[{"figure":"thd_n_db","limit":-110,"standing":"measured"}]}]}`,
		`{"schema":"heardiff.noise/1","channel":[{"channel":1,"unweighted_dbfs":-108,"a_weighted_dbfs":-112,"dc":1e-5,"hum":[{"hz":50,"dbfs":-120}],"relative_to_reference_db":null}]}`,
		`{"schema":"heardiff.two_tone/1","channel":[{"channel":1,"imd_db":-90,"products":[{"hz":1000,"order":2,"dbc":-95}]}]}`,
		`{"schema":"heardiff.sweep/1","channel":[{"response":[{"hz":20,"db":-1e308},{"hz":1000,"db":0}],"harmonics":[{"order":2,"db":-90}]}]}`,
		`{"schema":"heardiff.clock/1","channel":[{"offset_ppm":3,"drift_ppm_per_s":0,"allan":[{"tau_s":1,"deviation":1e-9}],"tdev":[{"tau_s":1,"ns":2}],"mtie":[]}]}`,
		`{"schema":"heardiff.integrity/1","bit_perfect":true,"cause":null,"bits_compared":24}`,
		`{"channel":[]}`, `{"channel":null}`, `null`, `[]`, ``,
	} {
		f.Add([]byte(seed))
	}
	declared := map[link.Metric]bool{}
	for _, d := range Metrics() {
		declared[d.Metric] = true
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, k := range Kinds() {
			if k.delivers != nil {
				k.delivers(data)
			}
			if k.Measurement == nil {
				continue
			}
			// Data that is not a result is an error; a result need not be complete.
			_ = k.Measurement.Read(data, func(m link.Metric, v link.Figure) {
				if !declared[m] || math.IsInf(v.Value, 0) || math.IsInf(v.Limit, 0) {
					t.Errorf("%s: %v is %v", k.Name, m, v)
				}
			})
		}
	})
}
