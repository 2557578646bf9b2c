package trials

import (
	"testing"
	"time"
)

// Time worked and time remaining, by a clock that the test sets: rests and the time between two sittings do not count; the
// remaining time is the mean of the latest trials times the number that remain.
func TestPaceCountsWorkAndNothingElse(t *testing.T) {
	now := time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)
	wait := func(d time.Duration) { now = now.Add(d) }
	p := testPlan(ABX, 20)
	p.RestMinutes = 20
	m := &memory{}
	s, err := Begin("s1", Seat{}, p, Seed{1}, m, func() time.Time { return now })
	if err != nil {
		t.Fatal(err)
	}
	wait(time.Hour) // begun, but nobody has sat down yet
	check := func(when string, answered int, worked, left time.Duration) {
		t.Helper()
		if v := s.View(); v.Answered != answered || v.Worked != worked || v.Remaining != left {
			t.Errorf("%s: %d answered, %v so far, %v left; want %d, %v, %v", when, v.Answered, v.Worked, v.Remaining, answered, worked, left)
		}
	}
	do := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	do(s.Sit("null", false))
	for range 2 {
		wait(20 * time.Second)
		answer(t, s, AnswerA)
	}
	check("after two trials", 2, 40*time.Second, 0)
	wait(10 * time.Second)
	do(s.Rest())
	wait(5 * time.Minute)
	if v := s.View(); v.Rested != 5*time.Minute {
		t.Errorf("rested for %v", v.Rested)
	}
	do(s.Open("after a rest"))
	wait(40 * time.Second)
	answer(t, s, AnswerA)
	check("after three trials and a rest", 3, 90*time.Second, 17*30*time.Second)
	if v := s.View(); v.RestDue || v.RestIn != 20*time.Minute-40*time.Second {
		t.Errorf("the next rest is due in %v", v.RestIn)
	}
	wait(15 * time.Second)
	do(s.Void("a lorry")) // one more is dealt: 17 remain
	check("after a void trial", 3, 105*time.Second, 17*30*time.Second)

	wait(time.Minute) // left, without a word
	s, err = Resume(p, Seed{1}, m.entries, m, func() time.Time { return now })
	do(err)
	wait(24 * time.Hour)
	check("before anybody sits", 3, 105*time.Second, 17*30*time.Second)
	do(s.Sit("null", false))
	wait(25 * time.Second)
	check("in the next sitting", 3, 130*time.Second, 17*30*time.Second)
	for range 10 {
		wait(10 * time.Second)
		answer(t, s, AnswerA)
	}
	check("after ten quick trials", 13, 230*time.Second, 7*(90+35)*time.Second/10)
}
