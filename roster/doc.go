// Package roster is who the school is: its students, their households and
// guardians, and the people who examine them.
//
// It also reads what other people's tables mean. Plan compares a table with
// the roster and says, row by row, what is new, changed, the same, doubtful
// or refused, with every reason; nothing happens until Apply. The bytes of
// CSV and XLSX files are read one folder down, in roster/table.
//
// What this package never does: remove a student because a file lacks one,
// empty a field because a cell is empty, or guess the order of day and month
// without saying so.
package roster
