package main

import (
	"context"
	"encoding/json"
	"fmt"
	"html"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/study"
)

// closingScreens returns the closing screen of every session that has ended.
func closingScreens(t *testing.T) map[string]string {
	t.Helper()
	ctx, s := context.Background(), openCurrent(t)
	defer s.Close()
	ended, err := s.EndedSessions(ctx, study.Damaged)
	must(t, err)
	screens := map[string]string{}
	for _, v := range ended {
		rows, family := s.OwnRows(ctx, v.ID, v.Result)
		screens[v.Listener+" "+v.Result.Plan.Design.String()] += strings.Join(summarize(v.Result, rows, family), "\n")
	}
	return screens
}

// What a study says is one and the same in link, results, pool, the report and on the closing screen: on random studies of
// three listeners in two groups, two plans of different designs, and a repeat.
func TestEveryScreenGivesTheSameVerdicts(t *testing.T) {
	seen := map[link.Verdict]bool{}
	for seed := range uint64(3) {
		listeningStudy(t, "abx", 12)
		random := rand.New(rand.NewPCG(seed, 5))
		guess := func(session *trials.Session, _ trials.Plan) trials.Answer {
			return session.View().Design.Answers()[random.IntN(2)]
		}
		command(t, 0, "listener", "add", "L2", "--group", "trained")
		command(t, 0, "listener", "add", "L3", "--group", "untrained")
		command(t, 0, "plan", "new", "--id", "2", "--design", "same-different", "--a", "left", "--b", "right", "--trials", "12", "--smallest-effect", "0.9")
		for _, l := range []string{"L1", "L2", "L3"} {
			sitThrough(t, "1", l, guess)
			sitThrough(t, "2", l, guess)
		}
		for _, r := range sameEverywhere(t, 6) {
			seen[r.Verdict] = true
		}
	}
	if len(seen) < 2 {
		t.Errorf("the random studies came to nothing but %v", seen)
	}
}

// sameEverywhere compares the verdicts of all commands, so many at the least, and returns those of link.
func sameEverywhere(t *testing.T, least int) []study.VerdictReport {
	t.Helper()
	linked := decoded(t, "rows", "link", "--json")
	if len(linked) < least {
		t.Fatalf("%d rows", len(linked))
	}
	results := decoded(t, "verdicts", "results", "--json")
	page := filepath.Join(t.TempDir(), "report.html")
	command(t, 0, "report", "--out", page)
	data, err := os.ReadFile(page)
	must(t, err)
	text, _ := command(t, 0, "results")
	pooled, poolTables := pools(t, linked)
	linkText, _ := command(t, 0, "link")
	screens := closingScreens(t)
	plainly := strings.NewReplacer("\u00a0", " ", "−", "-", "‘", "'", "’", "'")
	read, text := plainly.Replace(html.UnescapeString(string(data))), plainly.Replace(text)
	saysWhatRuledOutRisks(t, map[string]string{"results": text, "link": linkText, "the report": read, "pool": poolTables[linked[0].Comparison]}, screens)
	cardsSay(t, string(data))
	for i, r := range linked {
		poolTable := plainly.Replace(poolTables[r.Comparison])
		if fmt.Sprint(results[i]) != fmt.Sprint(r) {
			t.Errorf("results says %+v, link %+v", results[i], r)
		}
		if !contains(pooled, r) {
			t.Errorf("pool does not say %+v", r)
		}
		// A session that rules nothing out, void or with its control missed, whatever was heard, may be left out of the table.
		leftOut := r.UpperPD == 1 && !regexp.MustCompile(`(?m)^`+r.Listener+` `).MatchString(poolTable)
		if r.Kind == "listener" && r.Design == "abx" && !leftOut && !regexp.MustCompile(`(?m)^`+r.Listener+` .* `+regexp.QuoteMeta(link.Probability(r.PStudy))+` .* `+regexp.QuoteMeta(number(r.UpperPD))+`\s*$`).MatchString(poolTable) {
			t.Errorf("the table of pool shows other figures of %s than p %v and bound %v of link:\n%s", r.Listener, r.PStudy, r.UpperPD, poolTable)
		}
		if says := fmt.Sprintf("<strong class=\"v %s\" data-f=\"verdict\">%s</strong>", strings.ReplaceAll(string(r.Verdict), " ", "-"), r.Verdict); !strings.Contains(string(data), says) ||
			!strings.Contains(read, r.Reason) {
			t.Errorf("the report does not say %s, %q", r.Verdict, r.Reason)
		}
		if !strings.Contains(text, r.Reason[1:]) || !strings.Contains(poolTable, r.Reason[1:]) {
			t.Errorf("the text of results or of pool does not say %q", r.Reason)
		}
		if of := screens[r.Listener+" "+r.Design]; r.Kind == "listener" && (!strings.Contains(of, fmt.Sprintf("%s, %s: %s. %s", r.Comparison, r.Listener, r.Verdict, strings.ToUpper(r.Reason[:1])+r.Reason[1:]))) {
			t.Errorf("the closing screen of %s says %q, link %s, %q", r.Listener, of, r.Verdict, r.Reason)
		}
	}
	return linked
}

// pools returns what pool says of each comparison, decoded and as text.
func pools(t *testing.T, linked []study.VerdictReport) (all []study.VerdictReport, tables map[string]string) {
	t.Helper()
	tables = map[string]string{}
	for _, r := range linked {
		if tables[r.Comparison] == "" {
			all = append(all, decoded(t, "verdicts", "pool", "--comparison", r.Comparison, "--json")...)
			tables[r.Comparison], _ = command(t, 0, "pool", "--comparison", r.Comparison)
		}
	}
	return all, tables
}

// cardsSay compares what the first screen of a report says of each sum with link: who heard it, of whom, or the verdict.
func cardsSay(t *testing.T, page string) {
	t.Helper()
	var linked struct {
		Rows []struct {
			Comparison, Kind string
			Verdict          link.Verdict
			HeardBy          *link.HeardBy `json:"heard_by"`
		}
	}
	decode(t, &linked, "link", "--json")
	cards := regexp.MustCompile(`<article class="card [a-z-]+">\s*<h3>(.*?)</h3>\s*<p class="verdict">([^<]*?) *(?:<span[^>]*>[^<]*</span>)?</p>`).FindAllStringSubmatch(page, -1)
	for _, r := range linked.Rows {
		if r.Kind != "all" {
			continue
		}
		want := string(r.Verdict)
		if r.HeardBy.Count > 0 && r.HeardBy.Of > 1 && r.Verdict != link.Void {
			want = fmt.Sprintf("heard by %d of %d", r.HeardBy.Count, r.HeardBy.Of)
		}
		if len(cards) == 0 || !strings.HasPrefix(html.UnescapeString(cards[0][1]), r.Comparison) || cards[0][2] != want {
			t.Errorf("the first screen says %q where link says %q of %s", cards, want, r.Comparison)
			return
		}
		cards = cards[1:]
	}
}

func contains(all []study.VerdictReport, v study.VerdictReport) bool {
	for _, one := range all {
		if one.Comparison == v.Comparison && one.Kind == v.Kind && one.Listener == v.Listener && one.Group == v.Group && one.Design == v.Design && one.Verdict == v.Verdict && one.PStudy == v.PStudy && one.UpperPD == v.UpperPD {
			return true
		}
	}
	return false
}

// decoded reads a list of verdicts from the JSON of a command.
func decoded(t *testing.T, key string, args ...string) []study.VerdictReport {
	t.Helper()
	var whole map[string]json.RawMessage
	decode(t, &whole, args...)
	var all []study.VerdictReport
	must(t, json.Unmarshal(whole[key], &all))
	for i := range all {
		all[i].HeardBy = nil // a pointer
	}
	return all
}
