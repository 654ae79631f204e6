\score {
  \context Score = "Tune"
  <<
      \context Staff = "MelodyStaff"
      {
          \context Voice = "Melody"
          {
              \clef treble
              {
                  \key a \minor
                  \hiddenTime 1/1
                  a'8
                  [ -0
                  b'8
                  -1
                  c''8
                  -2
                  d''8
                  -3 ]
                  e''8
                  [ -4
                  f''8
                  -4
                  g''8
                  -4
                  a''8
                  -4 ]
                  \bar "|"
                  \noBreak
              }
              {
                  \hiddenTime 15/8
                  b''2
                  -4
                  ~
                  b''8
                  c'''4.
                  -4
                  d'''2..
                  -4
                  \bar "|"
                  \noBreak
              }
              {
                  \hiddenTime 1/2
                  r2
                  \bar "|"
                  \noBreak
              }
              {
                  \hiddenTime 1/1
                  e''4
                  -4
                  c''4
                  -2
                  a'2
                  -0
                  \bar ";"
                  \noBreak
              }
              {
                  \hiddenTime 5/4
                  c''1
                  -2 ~
                  c''4
                  \bar "|."
                  \noBreak
              }
              {
                  \set Score.repeatCommands = #'((volta "1."))
                  \hiddenTime 1/2
                  a'2
                  -0
                  \bar ":|."
                  \noBreak
              }
              {
                  \set Score.repeatCommands = #'((volta #f) (volta "2."))
                  b'2
                  -1
                  \bar "||"
                  \noBreak
              }
              {
                  \set Score.repeatCommands = #'((volta #f))
                  c''2
                  -2
                  \bar "|."
              }
          }
      }
      \context DroneStaff = "DroneStaff"
      {
          \context DroneVoice = "Drone"
          {
              \clef treble
              {
                  \key a \minor
                  d'1
                  -0 \-
              }
              {
                  s2
                  s8.
                  d'1
                  -1 \-
                  s8.
              }
              {
                  s2
              }
              {
                  R1
              }
              {
                  R1
                  R4
              }
              {
                  R2
              }
              {
                  R2
              }
              {
                  R2
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
                \key a \minor
                \hiddenTime 1/1
                a'8
                [
                b'8
                c''8
                d''8
                ]
                e''8
                [
                f''8
                g''8
                a''8
                ]
                \bar "|"
                \noBreak
            }
            {
                \hiddenTime 15/8
                b''2
                ~
                b''8
                c'''4.
                d'''2..
                \bar "|"
            }
        }
    }
>>
    \layout { #(layout-set-staff-size 12) }
  }
}
