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
// made-up zero. Results embed warning.Warnings: what limits their numbers, by code and in words.
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
// listener is logistic, of slope 8 per decade, guessing one half. The figures are from 2000 runs of the staircases, which begin 0.8
// decade above the threshold, step by 0.2, then by 0.1 after the first reversal, and estimate by the mean of the reversals after the
// second; and from 100 runs of the placement. A test checks them.
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
// The rows are for a Track of 25 rungs of 2.5 dB over 60 dB, and Weibull listeners whose thresholds lie anywhere between 15 and 45 dB, in
// two intervals or (chance 1/3) a triangle. Bayesian runs have one trial in ten at the highest rung. The estimate is the likeliest
// threshold (Placement.Likeliest), the interval the wider of two posteriors' central 95 % (PriorFor), however the doses are placed. The
// columns are the bias, the error that 95 % of the runs do not exceed, the share of intervals that hold the truth and the mean half-width
// of those with two ends, in dB after so many trials; 'needed' is the number of trials from which 95 % of the runs stay within 2 dB.
// 'bound' is the Fisher bound on that number where the slope is not known, 'lapse unknown' where the lapse rate is not known either, for a
// threshold 30 dB below the top of the ladder, with doses placed as if the listener were known. Each row is from 400 runs, those of
// Bayesian runs in two intervals at slope 2 and below from 2000, of more than 250 trials from 200, and of 2000 from 100; tests hold all of
// it.
//
//	procedure  chance  slope  lapse  trials   bias  95 %  covers  half  needed  bound  lapse unknown
//	bayes        0.50      2      0     180   0.02  1.87    0.99   3.9     170    113            113
//	bayes        0.50      4      0     100  −0.15  1.65    0.99   4.7      90     28             28
//	staircase    0.50      4      0     100   0.03  1.47    0.98   4.9      60     28             28
//	bayes        0.50      4   0.03     100   0.01  1.79    1.00   7.0      80     33             47
//	staircase    0.50      4   0.03     100   0.12  1.79    0.98   7.1     100     33             47
//	bayes        0.50      4   0.05     100   0.03  2.53    1.00   8.6       –     37             57
//	staircase    0.50      4   0.05     100   0.19  2.17    0.99   8.8       –     37             57
//	staircase    0.50      2      0     180   0.01  2.06    0.96   4.6       –    113            113
//	bayes        0.50      2   0.03     250   0.06  1.89    0.99   4.1     240    133            189
//	staircase    0.50      2   0.03     250   0.29  2.01    0.98   3.9       –    133            189
//	bayes        0.50      2   0.05     250   0.16  2.13    0.99   5.0       –    148            230
//	staircase    0.50      2   0.05     250   0.43  2.15    0.99   4.9       –    148            230
//	bayes        0.50      1      0     250  −0.06  3.06    0.97   4.5       –    452            452
//	staircase    0.50      1      0     250   0.12  3.30    0.97   6.7       –    452            452
//	bayes        0.50      1   0.03     250   0.14  3.47    0.98   6.2       –    532            757
//	staircase    0.50      1   0.03     250   0.63  4.14    0.97   7.5       –    532            757
//	bayes        0.50      1   0.05     250   0.42  4.00    0.98   7.1       –    594            919
//	staircase    0.50      1   0.05     250   1.14  4.34    0.97   8.1       –    594            919
//	bayes        0.50    0.5      0     250  −0.84  6.70    0.95   7.4       –   1810           2516
//	staircase    0.50    0.5      0     250   0.81  6.74    0.96   9.6       –   1810           2516
//	bayes        0.50    0.5   0.03     250   0.10  6.89    0.98   8.7       –   2128           3736
//	staircase    0.50    0.5   0.03     250   2.14  7.96    0.98  10.1       –   2128           3736
//	bayes        0.50    0.5   0.05     250   0.88  7.57    0.97   9.3       –   2376           4571
//	staircase    0.50    0.5   0.05     250   3.26  9.70    0.98  10.4       –   2376           4571
//	constant     0.50      2      0     900  −0.14  1.94    0.94   1.9     880    113            113
//	constant     0.50      2   0.05     900   0.07  2.04    0.98   2.3       –    148            230
//	bayes        0.33      2      0     150   0.06  1.70    0.99   3.0     120     75             75
//	bayes        0.33      4      0     100  −0.10  1.20    0.99   2.5      50     19             19
//	bayes        0.33      1   0.05     250   0.39  3.11    0.97   4.7       –    365            549
//	bayes        0.50      1      0     900  −0.01  1.66    0.95   1.8     610    452            452
//	bayes        0.50      1   0.05     900   0.08  2.24    0.97   3.3       –    594            919
//	bayes        0.50    0.5      0     900  −0.58  4.05    0.92   3.5       –   1810           2516
//	bayes        0.50    0.5   0.05     900   0.71  4.59    0.96   5.5       –   2376           4571
//	bayes        0.50    0.5      0    2000  −0.35  2.53    0.94   2.3       –   1810           2516
//	bayes        0.50    0.5   0.05    2000   0.48  3.91    0.96   3.9       –   2376           4571
//
// The intervals of slope 2 and steeper are wider than the errors, because the answers leave the slope open.
//
// Short: at slope 0.5 the estimate has a bias, after 250 trials of −0.8 dB without lapses, 0.1 dB with 3 % and 0.9 dB with 5 %, which is a
// quarter of its standard deviation. After 2000, about as many as ± 2 dB take by the bound, it is below half a decibel. Little of what such a
// listener is asked is plainly heard, so that the answers hardly show how often the listener lapses. An unbiased estimate would have
// larger errors after as many trials: after 250, with 5 % of lapses, a standard error of at least 2.0 dB at slope 1 and 4.4 dB at slope 0.5,
// and 21 dB where the threshold lies 15 dB below the top of the ladder, where nothing is plainly heard; ± 2 dB takes the trials of the last
// column. A staircase has few plain doses, and there a bias of up to three decibels. The intervals allow for all of it, and results with
// a slope below 1 say so.
//
// A track that is to end within 2 dB ends when its interval is that narrow, which takes longer than the error alone needs. The columns are
// the trials after which 5 %, half and 95 % of the runs had ended (of 100 runs or more), the share that had not after 500, the error that
// 95 % of the runs did not exceed, the share of all last intervals that hold the truth, and that share among the runs that had ended.
// Short: the last one at slope 1, where few runs become that precise, and chance selects those that do: an interval that holds the truth in
// 95 % of all runs holds it in fewer of these.
//
//	ends    slope  lapse    5 %  median   95 %  undone  error  covers  of ended
//	within      4      0     73     155    308    0.00    0.9    1.00      1.00
//	within      4   0.05    102     259    474    0.05    1.1    1.00      1.00
//	within      2      0    140     304    500    0.07    1.4    1.00      1.00
//	within      2   0.03    181     454    500    0.42    1.6    1.00      1.00
//	within      2   0.05    247     500    500    0.61    1.8    0.97      0.92
//	within      1      0    280     500    500    0.80    2.4    0.96      0.90
//	within      1   0.03    237     500    500    0.90    2.7    0.95      0.60
//	within      1   0.05    372     500    500    0.92    2.7    0.99      0.88
package stats
