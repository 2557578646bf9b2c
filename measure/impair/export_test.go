package impair

// MaskedBelowDB is checked against published critical bands.
var MaskedBelowDB = maskedBelowDB
