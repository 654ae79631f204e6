\score {
  \context Score = "Tune"
  <<
      \context Staff = "MelodyStaff"
      {
          \context Voice = "Melody"
          {
              \clef treble
              {
                  \key d \minor
                  \numericTimeSignature
                  \time 3/4
                  \tuplet 3/2
                  {
                      a'8
                      [ -0
                      bf'8
                      -1
                      c''8
                      -2 ]
                  }
                  d''4
                  -3 ^\trill
                  \grace {
                      e''16
                      [ -4
                      f''16
                      -4 ]
                  }
                  e''4
                  -4
                  \bar "|"
                  \noBreak
              }
              {
                  c'''4.
                  -4
                  \slashedGrace {
                      bf''8
                      -4
                  }
                  a''8
                  -4
                  \tuplet 3/2
                  {
                      g''4
                      -4
                      f''8
                      -4
                  }
                  \bar "|"
                  \noBreak
              }
              {
                  e''8
                  [ ( -4
                  d''8
                  -3 ] )
                  c''8
                  [ ( -2
                  bf'8
                  ( -1 ] )
                  a'4
                  -0 )
                  \bar "|"
                  \noBreak
              }
              {
                  \grace {
                      g''8
                      -4
                  }
                  f''4
                  -4
                  e''8
                  [ -4 -\staccato
                  d''8
                  -3 -\staccato ]
                  c''4
                  -2 ^\roll
                  \bar "|"
                  \break
              }
              {
                  \barNumber 5
                  a''8.
                  [ -4 ^\upbow
                  bf''16
                  -4 ]
                  c'''16
                  [ -4
                  bf''16
                  -4
                  a''16
                  -4
                  g''16
                  -4 ]
                  f''4
                  -4 ^\fermata
                  \bar "|"
                  \noBreak
              }
              {
                  cs''!4
                  -2
                  c''!4
                  -2
                  ef''!4
                  -3
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
                  \key d \minor
                  d'2.
                  -0 \-
              }
              {
                  s4.
                  d'4.
                  -1 \-
              }
              {
                  s2.
              }
              {
                  \grace {
                      s8
                  }
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
                \key d \minor
                \numericTimeSignature
                \time 3/4
                \tuplet 3/2
                {
                    a'8
                    [
                    bf'8
                    c''8
                    ]
                }
                d''4
                \grace {
                    e''16
                    [
                    f''16
                    ]
                }
                e''4
                \bar "|"
                \noBreak
            }
            {
                c'''4.
                \slashedGrace {
                    bf''8
                }
                a''8
                \tuplet 3/2
                {
                    g''4
                    f''8
                }
                \bar "|"
            }
        }
    }
>>
    \layout { #(layout-set-staff-size 12) }
  }
}
