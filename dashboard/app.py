"""The page table, in the order of the navigation. Run by: streamlit run dashboard/app.py."""

from dashboard import navigation
from dashboard.navigation import EVERYONE, Page
from dashboard.text.catalogue import mark
from warehouse import journal
from warehouse.vocabulary import STAFF

# Each is a folder of pages/, named as its address.
PAGES = (
    Page("week", mark("This week"), STAFF),
    Page("students", mark("Students"), STAFF),
    Page("student", mark("Student"), STAFF),
    Page("swings", mark("Swings"), STAFF),
    Page("drills", mark("Drills"), STAFF),
    Page("coaches", mark("Coaches"), STAFF),
    Page("lesson", mark("Lesson sheet"), STAFF),
    Page("notes", mark("Write a note"), STAFF),
    Page("film", mark("Mark a film"), STAFF),
    Page("progress", mark("Progress page"), EVERYONE),
    Page("deliveries", mark("Deliveries"), STAFF),
    Page("trust", mark("How sure are we"), STAFF),
    Page("people", mark("People"), ("head_coach",)),
    Page("invitations", mark("Invitations"), ("head_coach",)),
    Page("quality", mark("Data quality"), ("head_coach",)),
)

if __name__ == "__main__":
    journal.show_steps_if_asked()
    navigation.run(PAGES)
