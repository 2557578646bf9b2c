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
// two intervals or (chance 1/3) a triangle. The estimate is the posterior's median, the interval the wider of two posteriors' central 95 %
// (see PriorFor), however the doses are placed. The columns are the bias, the error that 95 % of the runs do not exceed, the share of
// intervals that hold the truth and the mean half-width of those with two ends, in dB after so many trials; 'needed' is the number of
// trials from which 95 % of the runs stay within 2 dB. 'bound' is the Fisher bound on that number where the slope is not known, 'lapse
// unknown' where the lapse rate is not known either, for a threshold 30 dB below the top of the ladder, with doses placed as if the
// listener were known. Each row is from 400 runs or more, the first from 3400 and those of constant stimuli from 200; tests hold all of it.
//
//	procedure  chance  slope  lapse  trials   bias  95 %  covers  half  needed  bound  lapse unknown
//	bayes        0.50      2      0     180  −0.24  2.02    0.98   3.7     190    113            113
//	bayes        0.50      4      0     100  −0.19  1.77    0.99   4.1      90     28             28
//	staircase    0.50      4      0     100  −0.27  2.00    0.98   4.5       –     28             28
//	bayes        0.50      4   0.03     100  −0.04  1.64    1.00   4.9      90     33             47
//	staircase    0.50      4   0.03     100  −0.36  2.85    0.98   6.2       –     33             47
//	bayes        0.50      4   0.05     100   0.16  1.85    1.00   5.8      90     37             57
//	staircase    0.50      4   0.05     100  −0.42  3.79    0.99   8.0       –     37             57
//	staircase    0.50      2      0     180  −0.35  2.43    0.96   4.4       –    113            113
//	bayes        0.50      2   0.03     250   0.15  1.78    0.98   3.3     200    133            189
//	staircase    0.50      2   0.03     250   0.00  2.13    0.98   3.7       –    133            189
//	bayes        0.50      2   0.05     250   0.42  1.86    0.98   3.7     230    148            230
//	staircase    0.50      2   0.05     250   0.08  2.60    0.99   4.6       –    148            230
//	bayes        0.50      1      0     250  −0.47  3.28    0.96   5.1       –    452            452
//	staircase    0.50      1      0     250  −0.55  3.65    0.97   6.6       –    452            452
//	bayes        0.50      1   0.03     250   0.38  3.15    0.98   5.7       –    532            757
//	staircase    0.50      1   0.03     250  −0.11  4.44    0.97   7.3       –    532            757
//	bayes        0.50      1   0.05     250   0.98  3.84    0.98   6.0       –    594            919
//	staircase    0.50      1   0.05     250   0.31  4.59    0.97   7.8       –    594            919
//	bayes        0.50    0.5      0     250  −0.58  5.31    0.97   8.2       –   1810           2516
//	staircase    0.50    0.5      0     250  −0.25  6.45    0.97   9.5       –   1810           2516
//	bayes        0.50    0.5   0.03     250   1.17  6.13    0.96   8.3       –   2128           3736
//	staircase    0.50    0.5   0.03     250   1.15  6.91    0.98   9.9       –   2128           3736
//	bayes        0.50    0.5   0.05     250   1.94  7.25    0.97   8.6       –   2376           4571
//	staircase    0.50    0.5   0.05     250   2.39  8.03    0.98  10.1       –   2376           4571
//	constant     0.50      2      0     900  −0.19  1.97    0.94   1.9     880    113            113
//	constant     0.50      2   0.05     900   0.12  2.11    0.98   2.2       –    148            230
//	bayes        0.33      2      0     150  −0.23  1.90    0.95   2.8     140     75             75
//	bayes        0.33      4      0     100  −0.16  1.19    0.98   2.2      50     19             19
//	bayes        0.33      1   0.05     250   0.82  2.91    0.96   4.1       –    365            549
//	bayes        0.50      1      0     900  −0.08  1.56    0.97   2.0     610    452            452
//	bayes        0.50      1   0.05     900   0.45  1.93    0.98   2.9     840    594            919
//	bayes        0.50    0.5      0     900  −0.41  3.46    0.95   4.4       –   1810           2516
//	bayes        0.50    0.5   0.05     900   1.68  4.57    0.98   5.4       –   2376           4571
//	bayes        0.50    0.5      0    2000   0.00  2.00    0.95   2.0       –   1810           2516
//	bayes        0.50    0.5   0.05    2000   0.00  2.00    0.95   2.0       –   2376           4571
//
// The prior draws the estimate towards usual slopes and few lapses, so that 'needed' may lie below the bounds, which are for unbiased
// estimates. The intervals of slope 2 and steeper are wider than the errors, because the answers leave the slope open.
//
// Short: at slope 2 without lapses the error that 95 % of the runs do not exceed after 180 trials is 2.02 dB, with a standard error of
// 0.03. And at slopes of 1 and below, the estimate has a bias of up to two decibels where the listener lapses, and of 0.6 dB at slope 0.5
// without lapses. Few of the doses that say most about the threshold are plainly heard, so that the answers hardly show how often the
// listener lapses, and the estimate keeps what the prior expects. An unbiased estimate would have other errors after as many trials: after
// 250, with 5 % of lapses, a standard error of at least 2.0 dB at slope 1 and 4.4 dB at slope 0.5, and 21 dB where the threshold lies 15 dB
// below the top of the ladder, where nothing is plainly heard; ± 2 dB takes the trials of the last column. More trials help slowly, as the
// rows of 900 show. The intervals allow for it, and results with a slope below 1 say so.
//
// A track that is to end within 2 dB ends when its interval is that narrow, which takes longer than the error alone needs. The columns are
// the trials after which 5 %, half and 95 % of the runs had ended (of 100 runs or more), the share that had not after 500, the error that
// 95 % of the runs did not exceed, the share of all last intervals that hold the truth, and that share among the runs that had ended.
// Short: the last one at slope 1. Few runs become that precise there, and chance selects those that do: an interval that holds the truth in
// 95 % of all runs holds it in fewer of these.
//
//	ends    slope  lapse    5 %  median   95 %  undone  error  covers  of ended
//	within      4      0     78     151    271    0.00    0.9    1.00      1.00
//	within      4   0.05     88     199    376    0.00    1.3    0.99      0.99
//	within      2      0    124     312    500    0.18    1.5    0.97      0.96
//	within      2   0.03    132     377    500    0.28    1.4    0.99      0.99
//	within      2   0.05    138     376    500    0.31    1.6    0.99      0.99
//	within      1      0    240     500    500    0.85    2.4    0.91      0.73
//	within      1   0.03    298     500    500    0.84    2.3    0.97      0.91
//	within      1   0.05    306     500    500    0.87    3.1    0.97      0.77
package stats
