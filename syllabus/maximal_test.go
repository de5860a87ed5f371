package syllabus_test

// maximal is a syllabus that uses every key of the language at least once.
const maximal = `rankwright: syllabus 1
ladder: youth
name: Youth
version: "2026-2"
source: Rules of an invented club
in_force: {from: 2026-01-01, until: 2027-12-31}
counting: {leap_day: first of march}
age_bands: {A: 5-7, B: 8-10}
scales:
  MOVE: {name: Moving, enough: 1, levels: {0: stops, 1: right idea, 2: holds}}
lists:
  rules: [ask first, shoes off, stop at once]
credits:
  reach: {100%: 3, 50%: 1}
sections:
  basics: Basics
  falls: {name: Falls, cautions: [falls, partner]}
clearances:
  signature: Guardian's signature
  fee: {name: Fee settled, before: entry}
themes: {10: noticing}
combine:
  default: {method: majority, of_two: lead}
  level: {method: median, of_two: lead, look_again_if_apart: 2}
  tick: majority
  steps: mean
  recall: mean
  time: lowest
  count: single
  consent: single
requirements:
  fall: {section: falls, show: Falls backwards, kind: tick, points: 3, must: yes, cautions: [falls], examiner: orange}
pass:
  conditions:
    musts: {name: Every must, musts: all}
    few: {musts: {may_fall_short: {up_to: 2, at_least: 0, never: [fall]}}}
    total: {total: {at_least: 70%, of: [basics, falls], except: [theme], bonus: does not count, rounded: half up}}
    sections: {sections: {at_least: 50%, of: all, except: [theme], rounded: no, may_fall_short: 1}}
    shown: {requirements: {at_least: expected, of: [musts, weak_before], except: [theme], may_fall_short: 25%}}
    votes: {consents: {of: panel, veto: lead}}
    narrow: {runs: {label: narrow, at_most: 2}}
    either: {any: [{total: 80%}, {all: [{musts: all}, {sections: 40%}]}]}
  results:
    - {outcome: promoted, label: narrow, when: [musts, total, {sections: 60%}, votes, narrow], follow_up: 28 days, ask: Was it a calm day?}
    - {outcome: promoted, when: [musts, sections, shown, either]}
    - {outcome: not yet, label: part, when: few, show_again: what was short, within: 12 weeks, retries: 1}
    - {outcome: not yet, show_again: everything}
panel: {size: 3, consents: 2, rank: orange, outside: 1}
ranks:
  - id: yellow
    name: Yellow
    belt: {colour: yellow, hex: "#F2C230", tip: white, tip_hex: "#ffffff"}
    bonus_cap: 2
    clearances: none
    eligibility:
      name: first rank
      skip: yes
      may_be_waived: {by: head_instructor, at_most: {days: 7, age_days: 14, classes: 1}, only_one: yes, reason: required}
      conversion: {ladder: little, rank: [star], age: 7, must_by: 9, counted: calendar_year, automatic: yes}
      versions:
        - {from: 2026-01-01, until: 2026-06-30, age: 5}
        - from: 2026-07-01
          age: {at_least: 5, at_most: 15, counted: on_date, date: 04-01}
          wait: {months: 3, within: {years: 1}, since: grading, counted: anniversary, credits: {at_most: 30%, each: {seminar: 5%}}}
          classes: {at_least: 20, per_week: 1.5, credits: {at_most: 30%, each: {seminar: 5%}}}
          attendance: 60%
          gradings: {at_most: 3, months: 12, counted: rolling}
          points: {of: competition, at_least: 10}
          result: {ladder: little, rank: star, at_least: 70%, label: good}
          holds: {ladder: little, rank: star}
          held: {ladder: little, rank: star, weeks: 10}
          retakes: 2
          clearances: [fee]
          any: [{days: 90}, {weeks: 13}, {months: 3}, {years: 1}]
          all: [{age: 6}, {name: older, age: 7}]
    asks:
      - fall
      - {id: theme, section: basics, show: Says the theme, kind: tick, points: 2, theme: yes, before_the_day: yes}
      - {id: extra, section: basics, show: An extra, kind: tick, points: 2, bonus: yes}
      - {id: note, section: basics, show: The coach's note is written, kind: tick, for_release: yes}
      - {id: vote, section: basics, show: The panel consents, kind: consent}
      - {id: guard, section: basics, show: Stands in guard, kind: level, scale: MOVE, weight: 1.5, expect: {A: 1, B: 2}, tries: 2, keep: last}
      - {id: knot, section: basics, show: Ties the belt, kind: steps, steps: [cross, pull], each: 2, expect: all}
      - {id: words, section: basics, show: Names three things, kind: recall, items: [a, b, c], of: 2, points: 4}
      - {id: rules, section: basics, show: Says the rules, kind: recall, list: rules}
      - {id: run, section: basics, show: Runs round the mat, kind: time, aim: at most, expect: 20, credit: {100%: 2, 120%: 1}}
      - {id: hops, section: basics, show: Hops, kind: count, of: 30, aim: at least, expect: 10, credit: reach, combine: {method: mean, of_two: lowest}}
  - id: orange
    name: Orange
    belt: orange
    panel: [{size: 3, consents: 2}, {size: 5, consents: 3}]
    clearances: [fee]
    pass: {total: 70%, sections: 40%, requirements: 0, musts: all, consents: panel, otherwise: {label: whole, show_again: everything, within: 28 days, ask: Does the child agree?}}
    asks:
      - {use: fall, points: 4}
      - {id: vote, section: basics, show: The panel consents, kind: consent}
`
