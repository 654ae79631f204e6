\score {
  \context Score = "Tune"
  <<
      \context ChordNames = "Chords"
      {
          {
              s4
          }
          {
              \set noChordSymbol = \markup \concat { "G" }
              r4
              s2
          }
          {
              \set noChordSymbol = \markup \concat { "A" "m" \super \concat { "7" } }
              r4
              s2
          }
          {
              \set noChordSymbol = \markup \concat { "D" }
              r4
              s2
          }
          {
              \set noChordSymbol = \markup \concat { "G" }
              r2
          }
          {
              \set noChordSymbol = \markup \concat { "G" }
              r2.
          }
          {
              \set noChordSymbol = \markup \concat { "E" "m" }
              r4
              s2
          }
          {
              \set noChordSymbol = \markup \concat { "F" \chord-sharp "m" \super \concat { "7" \chord-flat "5" } }
              r4
              s2
          }
          {
              \set noChordSymbol = \markup \concat { "G" "/" "B" }
              r4
              s2
          }
          {
              \set noChordSymbol = \markup \concat { "G" }
              r2.
          }
      }
      \context Staff = "MelodyStaff"
      {
          \context Voice = "Melody"
          {
              \clef treble
              {
                  \bar ".|:"
                  \key g \major
                  \once \override Score.TimeSignature.stencil = #ly:text-interface::print \once \override Score.TimeSignature.text = \markup \override #'(baseline-skip . 0) \number \center-column { "3" "4" }
                  \time 1/4
                  d'4
                  -0
                  \bar "|"
                  \noBreak
              }
              {
                  \hiddenTime 3/4
                  g'4
                  -3
                  b'4
                  -1
                  d''4
                  -3
                  \bar "|"
                  \noBreak
              }
              {
                  c''4
                  -2
                  a'4
                  -0
                  fs'4
                  -2
                  \bar "|"
                  \noBreak
              }
              {
                  d'4
                  -0
                  e'4
                  -1
                  fs'4
                  -2
                  \bar "|"
                  \noBreak
              }
              {
                  \set Score.repeatCommands = #'((volta "1."))
                  \hiddenTime 1/2
                  g'2
                  -3
                  \bar ":|."
                  \noBreak
              }
              {
                  \set Score.repeatCommands = #'((volta #f) (volta "2."))
                  \hiddenTime 3/4
                  g'2.
                  -3
                  \bar ".|:-||"
                  \break
              }
              {
                  \set Score.repeatCommands = #'((volta #f))
                  \barNumber 6
                  e''4
                  -4
                  g''4
                  -4
                  b''4
                  -4
                  \bar "|"
                  \noBreak
              }
              {
                  a''4
                  -4
                  fs''4
                  -4
                  d''4
                  -3
                  \bar "|"
                  \noBreak
              }
              {
                  \set Score.repeatCommands = #'((volta "1, 3."))
                  b'4
                  -1
                  c''4
                  -2
                  a'4
                  -0
                  \bar ":|."
                  \noBreak
              }
              {
                  \set Score.repeatCommands = #'((volta #f) (volta "2."))
                  g'2.
                  -3
                  \bar "|."
                  \set Score.repeatCommands = #'((volta #f))
              }
          }
      }
      \context DroneStaff = "DroneStaff"
      {
          \context DroneVoice = "Drone"
          {
              \clef treble
              {
                  \key g \major
                  d'4
                  -0 \-
              }
              {
                  s2
                  s8
                  d'8
                  -1 \-
              }
              {
                  s2.
              }
              {
                  R2.
              }
              {
                  R2
              }
              {
                  R2.
              }
              {
                  R2.
              }
              {
                  R2.
              }
              {
                  R2.
              }
              {
                  R2.
              }
          }
      }
  >>
  \layout { }
}
\book {
  \paper {
    #(layout-set-staff-size 12)
    line-width = 240.00\bp
    paper-width = 276.00\bp
    ragged-right = ##t
    is-opening = ##t
  }
  \bookOutputSuffix "opening"
  \score {
\context Score = "Opening"
<<
    \context Staff = "MelodyStaff"
    {
        \context Voice = "Melody"
        {
            \clef treble
            {
                \key g \major
                \once \override Score.TimeSignature.stencil = #ly:text-interface::print \once \override Score.TimeSignature.text = \markup \override #'(baseline-skip . 0) \number \center-column { "3" "4" }
                \time 1/4
                d'4
                \bar "|"
                \noBreak
            }
            {
                \hiddenTime 3/4
                g'4
                b'4
                d''4
                \bar "|"
                \noBreak
            }
            {
                c''4
                a'4
                fs'4
                \bar "|"
            }
        }
    }
>>
    \layout { #(layout-set-staff-size 12) }
  }
}
