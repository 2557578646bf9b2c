// Package link compares what listeners heard with what was measured of the same chains.
//
// Build takes revealed sessions and figures, and returns one row per comparison and listener, per group, and for all:
// the score, the measured differences with their limits, what else could explain the result (confounds), and a verdict.
// Numbers and text in, verdicts out; the package does no input or output. NaN means not measurable.
//
// # What a study claims
//
// A study asks questions: does this listener hear this comparison, does the average of this group, does the average of
// all? If nobody hears anything, the probability that it ever says 'heard' anywhere is at most alpha, the level of its first
// plan; and the probability that it says so in any row where nothing is heard is at most alpha whatever is heard in others.
// How alpha is shared is fixed when the first session begins (Family): equally among the comparisons planned by then. Within
// a comparison all of it goes to the listener where one is planned; otherwise half goes to the average of all and half is
// divided equally among the listeners (with groups a third each). The share of a claim found true passes on to others
// (stats.AdjustFamily: Holm's procedure with shares). Half a percent is kept for unplanned comparisons and half a percent for
// further listeners.
//
// Within its share, a session of a fixed number of trials is judged by its exact test, a sequential one by its boundaries,
// designs judged by rates (duplicate pairs) and balanced order by Fisher's test; the chance level is always that of the
// design. A small part is kept, and multiplied by the evidence of each session for the next (stats.Step), so that repeats,
// further plans and sessions given up count as they are and can be looked at at any time. Several listeners' answers are
// summed in one exact test where as many as planned have taken part, and by evidence before and after, which shares the risk
// with that test from the first session on. Sessions count in the order in which their results became known here: those of
// other sites when they are imported. So nothing that comes later revokes an earlier verdict, unless a control shows it void;
// what is imported must not be selected by its answers.
//
// # The verdicts
//
//   - heard: p_study, corrected in this way, is at most alpha. Other possible explanations are named first. The verdict
//     stays, whatever later sessions bring.
//   - ruled out: the upper bound of p_d, at the level alpha and valid over repeats and looks, lies below the smallest
//     effect of any plan of that comparison. It is a bound on p_d for that row and nothing more: each row by itself is wrong
//     with probability at most alpha, and so is 'ruled out' in every row at once, which is no likelier than in one. It is
//     likelier that at least one of several rows is wrong: simulated, 0.11 for three excerpts twice. These risks are not shared,
//     because sharing would cost more than for 'heard': with 42 trials p_d 0.3 is ruled out, where nothing is heard, with
//     probability 0.56; shared among three excerpts it would be 0.44, among four listeners 0.22, among 20 0.14, and 77 trials
//     for 0.8 would become 102, 127 and 166. For a group or for all it refers to the average listener.
//   - undecided: neither. The size of a further plan is given, and its power. A row is also undecided where a listener is
//     reliably wrong, and where the replay chain's own jitter or noise exceeds every difference under test.
//   - void: a listener passed their negative controls, over all their sessions, at the 0.01 level (something leaks: nothing
//     holds); the positive control was missed in every session (no null result holds); or a 'heard' came with a level,
//     alignment or response error large enough to be heard itself. Sessions of the first two kinds are excluded from all
//     sums, trends and curves.
//
// Sessions that are simulated, or were answered where no device sounded, are excluded from all sums if there is any session
// of people: each has a row of its own, marked.
//
// # Error rates and power
//
// Simulated through Build, by which every command judges ('go test ./trials/link -run "Nobody|RuledOut|Power|OneWho"';
// '-args -studies N', 4000 with -full). Nobody hears anything, alpha is 0.05, and a study counts as wrong if any row said
// 'heard' at any look; 4000 studies of each, ± 0.0034:
//
//	one listener, one plan of 42 (exactly 0.0442)                                0.0457
//	a plan of 42 repeated up to ten times                                        0.0465
//	the further plan that is proposed, three times                               0.0467
//	comparisons added one after the other, eight                                 0.0460
//	20 listeners, one planned, looked at after each                              0.0457
//	20 listeners; looked at after each                                           0.0285; 0.0285
//	four listeners in two groups                                                 0.0297
//	sessions run before, imported in three bundles, looked at after each         0.0305
//	  (by the time of their end it would be 0.098)
//	three excerpts: sequential; fixed                                            0.0307; 0.0265
//	pairs, bad-looking sessions given up                                         0.0270
//	the demonstration's design                                                   0.0257
//	balanced order, repeated up to six times                                     0.0213
//	a sequential panel of six, looked at after each                              0.0165
//	ten listeners, one leaks                                                     0.0130
//	sessions that look bad given up and repeated, by one who knows the score     0.0430
//	triangles: bad-looking sessions given up; sequential                         0.0403; 0.0318
//	triangles, six listeners in two groups, looked at after each                 0.0220
//	two intervals in balanced order, repeated up to six times                    0.0213
//	all four designs by one listener, with negative controls                     0.0315
//
// Wrong 'ruled out' of a row whose p_d is exactly the smallest effect, at any look, 4000 studies: of one listener 0.00 to
// 0.041, of a group at most 0.044, of all at most 0.042 (± 0.0034). Some one of several rows is wrong more often, and the
// study says so: 0.11 with three excerpts (± 0.005), 0.15 with four listeners in two groups (± 0.006), 0.47 with 20 listeners
// and 0.52 in the demonstration's five plans (± 0.008); of one listener alone 0.03 of triangles and of two intervals, 0.10 in all
// four designs, and 0.19 with six listeners to triangles in two groups. If one of six listeners hears it, another or the other group is
// called 'heard' in 0.026 ± 0.003. The power to find an effect, 4000 studies (± 0.008 at most), next to the uncorrected power
// of the same row's own test; 42 trials each:
//
//	                                                                found   uncorrected
//	one listener, p_d 0.4                                           0.84    0.84
//	the same plan twice, p_d 0.3; uncorrected, the sum of both      0.67    0.86
//	four listeners in two groups, all p_d 0.4: one of them          0.73    0.84
//	20 listeners, all p_d 0.1: all together                         0.82    0.90
//	20 listeners, one p_d 0.6: that one                             0.80    1.00
//	the demonstration's five plans, four listeners, one p_d 0.6     0.74    0.99
package link
