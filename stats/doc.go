// Package stats answers the questions a reviewer asks of a discrimination test: could it be chance, how large can
// the effect still be, how many trials would show it, do the listeners differ, does it grow with the dose.
// Numbers in, numbers out: nothing here reads, prints or knows of audio.
//
// # Symbols
//
//	n   trials of one listener, or of one session
//	k   correct answers among n
//	p₀  the chance of a correct answer by guessing: 1/2 in ABX and duplicate pairs, 1/3 in a triangle
//	p   the chance of a correct answer of this listener
//	p_d the proportion of discriminators, (p − p₀)/(1 − p₀): how often the listener knows the answer, guessing otherwise
//	d′  the distance between what two stimuli evoke, in units of the spread each evokes
//	α   the accepted risk of the verdict 'heard' where nothing can be heard
//	β   the accepted risk of missing a real effect; power is 1 − β
//	H,F hit rate and false-alarm rate: how often 'different' is said of different and of same pairs
//
// # Exactness
//
// Tails come from a continued fraction with a saddle-point prefactor and are held as logarithms, so that a relative
// error below 1e-9 holds down to p = 1e-300 and beyond, and for 100,000 trials; every p comes with its log10, which
// does not underflow. Whether a result is significant is decided by comparing k with the integer critical count,
// never by comparing a rounded p with α.
//
// # Not measurable
//
// A number that the data do not determine is NaN (d′ of a perfect score, the threshold of flat data), never a
// made-up zero. Results carry Warnings: plain sentences on the limits of the numbers.
//
// # What the intervals cover
//
// How often intervals at 0.95 contain the true value: summed over every outcome where trials are exchangeable, simulated
// elsewhere (TestCoverage and its neighbours; standard error in brackets). Those that fall short of 0.95 are marked.
//
//	interval                                  where                                     covers
//	Clopper–Pearson, and d′, p_d of it        p 0.5 to 0.955, 20 and 100 trials         0.954 or more, 0.975 and 0.963 on average
//	mid-p                                     the same                                  0.93 at the least (short), 0.959 and 0.951 on average
//	Wilson                                    the same                                  0.92 at the least (short), 0.953 and 0.950 on average
//	Jeffreys                                  the same                                  0.90 at the least (short), 0.949 and 0.950 on average
//	likelihood                                the same                                  0.83 at the least (short), 0.944 and 0.949 on average
//	d′ of pairs, either model                 d′ 0 to 3, 10 and 20 pairs of either kind 0.918 at the least (short)
//	criterion of pairs                        the same                                  0.926 at the least (short)
//	beta-binomial mean                        4 listeners of 20 who differ (ρ 0.2)      0.965 (0.004); alike 0.998
//	                                          12 listeners                              0.953 (0.004); alike 0.976
//	mean of discriminators                    4 listeners of 20 who differ (ρ 0.2)      0.991 (0.003); alike 0.998
//	                                          12 listeners                              0.942 (0.007); alike 0.971
//	group difference (Welch)                  3 + 3 and 8 + 8 listeners of 20           0.959 (0.001) and 0.950
//	threshold, slope of a fit                 five doses of 10 or 40                    0.95 (0.03)
//	mean threshold, listeners who differ      4 and 12 listeners                        0.93 and 0.95 (0.02)
//	deviation between their thresholds        4 and 12 listeners                        0.81 (short) and 0.92 (short; 0.01)
//	slope of each of them                     4 and 12 listeners                        0.93 and 0.95 (0.02)
//	area under the confidence ratings' curve  20 and 20 trials (TestAreaIntervalsCover) 0.93 or more (short)
//	mean over sites (Hartung–Knapp)           6 sites alike in size, and unlike         0.95, 0.915 (short)
//	further site (prediction)                 the same                                  0.906, 0.874 (short)
//
// # Adaptive procedures
//
// Bias and spread (standard deviation over runs) of a threshold in log10 of the dose, each procedure against its own target. The
// listener is logistic, of slope 8 per decade, guessing one half. 2000 runs of the staircases, which begin 0.8 decade above the
// threshold, step by 0.2, then by 0.1 after the first reversal, and estimate by the mean of the reversals after the second; 100 runs
// of the placement. A test checks the figures.
//
//	procedure              trials  lapse   bias  spread
//	one up, two down           60      0  −0.02    0.09
//	one up, two down           60   0.05   0.01    0.10
//	one up, three down         60      0   0.00    0.08
//	one up, three down         60   0.05   0.05    0.12
//	Bayesian placement         30      0  −0.05    0.13
//	Bayesian placement         60      0  −0.03    0.08
//	Bayesian placement         60   0.05   0.01    0.10
//
// # Threshold runs
//
// A Track of 25 rungs of 2.5 dB over 60 dB; Weibull listeners whose thresholds lie anywhere between 15 and 45 dB, in two intervals or (chance
// 1/3) a triangle. The estimate is the posterior's median, the interval its central 95 %, whichever way the doses were placed: bias, the
// error that 95 % of the runs keep, the share of intervals that hold the truth and their mean half-width, in dB after so many trials; 'needed' is the
// number of trials from which 95 % of the runs stay within 2 dB, 'bound' the Fisher bound for that with an unknown slope and doses placed as if the listener were known (held by a test).
//
//	procedure  chance  slope  lapse  trials   bias  95 %  covers  half  needed  bound
//	bayes        0.50      2      0     180  −0.21  1.92    0.97   2.8     180    113
//	staircase    0.50      2      0     180  −0.30  2.47    0.96   3.0       –    113
//	constant     0.50      2      0     900   0.15  1.76    0.94   1.8     740    113
//	bayes        0.50      2   0.03     240   0.24  1.55    0.98   2.5     170    133
//	staircase    0.50      2   0.03     240   0.10  1.82    0.97   2.9     230    133
//	bayes        0.50      2   0.05     270   0.58  1.94    0.96   2.4     230    148
//	bayes        0.33      2      0     150  −0.20  1.67    0.98   2.3     130     75
//	bayes        0.50      4      0     100  −0.19  1.61    0.99   2.6      80     28
//	staircase    0.50      4      0     100  −0.51  2.22    0.98   3.0       –     28
//	bayes        0.50      4   0.05     180   0.17  1.14    0.98   2.1      80     37
//	bayes        0.50      1      0     390  −0.19  2.65    0.97   2.8       –    452
//	bayes        0.50    0.5      0     240  −0.41  5.13    0.95   6.7       –   1810
//	staircase    0.50    0.5      0     240   0.30  6.00    0.97   7.5       –   1810
//	bayes        0.50    0.5   0.05     240   2.50  7.53    0.89   7.2       –   2376
//	staircase    0.50    0.5   0.05     240   3.14  8.04    0.93   8.1       –   2376
//	bayes        0.50    0.5      0     900  −0.33  2.71    0.97   3.7       –   1810
//	staircase    0.50    0.5      0     900  −0.37  4.66    0.94   4.4       –   1810
//
// From 100 to 950 runs a row, of constant stimuli and of 900 trials 50. The prior draws the estimate towards usual slopes, so that 'needed' may lie
// below the bound, which is of unbiased estimates; and the intervals of slope 2 and steeper are wider than they need to be, because the answers leave
// the slope open: were it known, 180 trials would give ±1.7 dB.
//
// Short: with 5 % of lapses the bias is 0.5 dB at slope 2 and 2.5 dB at slope 0.5, whose intervals cover 0.89 and 0.93: there the
// rise takes all of the 60 dB, no dose is plain, and no answer tells a lapse from a shallow slope.
//
// A track that is to end within 2 dB ends when its interval says so, which takes longer than the error alone needs (60 runs each, at most 500
// trials): at slope 2 after 230 trials in the median (5 % of the runs by 88, 95 % by 468), with 3 % of lapses after 276, at slope 4 after 114;
// 95 % of these runs keep an error of 2.0, 2.2 and 1.2 dB, and their last intervals cover 0.93, 0.93 and 0.98 (± 0.03). At slope 1
// 72 % of the runs are not done after 500 trials (95 % within 2.1 dB), at slope 0.5 97 % (5.0 dB): the usual limit of 250 ends these.
package stats
