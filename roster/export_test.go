package roster

// Synonyms lets the tests read the table of headings.
var Synonyms = synonyms
