# Reads exported tables into data frames with the types that their dictionary names. Run in their folder: Rscript read.R
# (R 4.2.2: every column of every table had its class; what R would guess differs where names look like numbers.)
d <- read.csv("data_dictionary.csv")
for (f in unique(d$table)) {
  k <- d[d$table == f, ]
  t <- read.csv(f, colClasses = setNames(k$class, k$column), check.names = FALSE)
  g <- read.csv(f, check.names = FALSE)
  stopifnot(identical(names(t), k$column), all(sapply(t, class) == k$class))
  guess <- sapply(g, class)
  odd <- guess != k$class & !sapply(g, function(x) all(is.na(x)))
  cat(f, nrow(t), "rows;", sum(odd), "guessed otherwise:", paste(names(g)[odd], guess[odd], k$class[odd]), "\n")
}
t <- read.csv("trials.csv"); s <- read.csv("sessions.csv")
m <- merge(t, s[, c("session", "group")])
print(aggregate(correct ~ comparison + group, m, mean))
print(class(as.POSIXct(t$at[1], format = "%Y-%m-%dT%H:%M:%OSZ", tz = "UTC")))
