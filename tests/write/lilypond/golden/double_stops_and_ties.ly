\score {
  \context Score = "Tune"
  <<
      \context Staff = "MelodyStaff"
      {
          \context Voice = "Melody"
          {
              \clef treble
              {
                  \key d \major
                  \defaultTimeSignature
                  \time 4/4
                  <d' a'>2
                  -0 -0
                  <fs' d''>4
                  -2 -3
                  <g' e''>4
                  -3 -4
                  \bar "|"
                  \noBreak
              }
              {
                  <
                      \tweak Tie.font-size 0 \tied
                      fs'
                      d''
                  >2
                  -2 -3
                  <fs' d''>4
                  -2 -3
                  a'4
                  -0 ~
                  \bar "|"
                  \noBreak
              }
              {
                  a'2
                  ~
                  a'8
                  d''4.
                  -3
                  \bar "|"
                  \noBreak
              }
              {
                  r2
                  r4
                  b'4
                  -1 ~
                  \bar "|"
                  \break
              }
              {
                  \barNumber 5
                  b'1
                  \bar "|"
                  \noBreak
              }
              {
                  R1
                  \bar "|"
                  \noBreak
              }
              {
                  a'16
                  [ -0
                  b'16
                  -1
                  cs''32
                  -2
                  d''32
                  -3
                  e''32
                  -4
                  fs''32
                  -4 ]
                  \scaleDurations 2/3
                  {
                      a'8
                      [ -0
                  }
                  \scaleDurations 2/3
                  {
                      b'8
                      -1
                  }
                  \scaleDurations 2/3
                  {
                      cs''8
                      -2 ]
                  }
                  d''2
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
                  \key d \major
                  d'1
                  -0 \-
              }
              {
                  s2
                  d'2
                  -1 \-
              }
              {
                  s1
              }
              {
                  R1
              }
              {
                  R1
              }
              {
                  R1
              }
              {
                  R1
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
                \key d \major
                \defaultTimeSignature
                \time 4/4
                <d' a'>2
                <fs' d''>4
                <g' e''>4
                \bar "|"
                \noBreak
            }
            {
                <
                    \tweak Tie.font-size 0 \tied
                    fs'
                    d''
                >2
                <fs' d''>4
                a'4
                \laissezVibrer
                \bar "|"
            }
        }
    }
>>
    \layout { #(layout-set-staff-size 12) }
  }
}
