package main

// howAlphaIsShared is printed by "plan new", which fixes it.
const howAlphaIsShared = `If nobody hears anything, the study says 'heard' anywhere with probability at most alpha, which
its first plan fixes. What it asks is fixed when its first session begins: the comparisons of
the plans made by then, each with an equal share, and the listeners added by then. A single
listener has the whole share of a comparison; with several, half of it is for the question whether
they hear it on average and half is divided among them, or a third each where there are groups.
What a result 'heard' does not need passes on to the others. --listeners and --comparisons plan for
more than there are yet: what nobody planned has half a percent of alpha. Repeats, fresh plans and
sessions given up all count; a twentieth or so of each share is kept for them, and grows with
the evidence. So the order and the moment of looking cost nothing.

'Ruled out' does not share alpha: each is wrong with probability at most alpha by itself, and so is
'ruled out' of every row, but that at least one of several is wrong is likelier. Shared among four
listeners, 42 trials would rule 30 % out with a chance of 0.22, not 0.56.`
