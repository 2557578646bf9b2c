package study

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"heardiff/measure/match"
	"heardiff/stats/wire"
	"heardiff/trials"
	"heardiff/trials/link"
)

// The standard encoder writes every report as the command prints it, with null for what is not known, and with lists that are empty.
func TestTheStandardEncoderWritesReports(t *testing.T) {
	nan := math.NaN()
	row, err := ScoreRow(trials.Result{Plan: trials.Plan{Design: trials.ABX, Alpha: 0.05}}, trials.Tally{Trials: 3, Correct: 3})
	must(t, err)
	session := SessionReport{Session: "s", Rows: []ComparisonReport{row}, Thresholds: []link.SessionThreshold{{Threshold: link.Threshold{Slope: nan}}}}
	excerpt := PreparedExcerpt{NullDB: nan, Presentations: []preparedPresentation{{Presentation: match.Presentation{GainDB: nan}, Dosed: &dosed{Value: nan}}}}
	for _, v := range []any{
		ResultsReport{Sessions: []SessionReport{session}, Verdicts: []VerdictReport{{PValue: nan, Reason: "p < 1"}}, Thresholds: []link.Threshold{{Threshold: nan}}},
		session, VerdictReport{PStudy: nan}, Preparation{Excerpts: []PreparedExcerpt{excerpt}}, excerpt,
		MeasureReport{Measured: []MeasuredCapture{{Result: link.Row{PStudy: nan}}}}, VerifyReport{}, VerifiedBundle{VerifyReport: VerifyReport{Files: 3}}, Imported{},
	} {
		var got bytes.Buffer
		enc := json.NewEncoder(&got)
		enc.SetEscapeHTML(false)
		if err := enc.Encode(v); err != nil {
			t.Errorf("%T: %v", v, err)
			continue
		}
		want, err := wire.Marshal(v)
		if text := strings.TrimSpace(got.String()); err != nil || text != string(want) {
			t.Errorf("%T:\n%s\nthe command prints\n%s (%v)", v, text, want, err)
		}
	}
}
